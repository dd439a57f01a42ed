import type { PageContent } from '../desk/page-context.ts'
import { longDay } from '../desk/when.ts'
import { spoken } from '../desk/words.ts'
import { html } from '../pages/html.ts'
import type { SettingsContext } from './settings-context.ts'
import type { SettingsPages } from './settings-pages.ts'

export function mountRetention(pages: SettingsPages): void {
  pages.get('retention', retentionPage)
}

/** A rule of `flows/patients/retention.ts` in words; `kinds` are the names under which it notes how far it is. */
interface RuleWords {
  says: string
  days: number
  since: string
  setting: string
  kinds: readonly string[]
}

function rulesOf({ deps }: SettingsContext): RuleWords[] {
  const { cycleDays, textDays, auditDays } = deps.policy.retention
  return [
    {
      says: 'Dates of periods, what was said of preparation, how replies were read, details of calls that are done',
      days: cycleDays,
      since: 'after the patient’s last visit',
      setting: 'RETENTION_CYCLE_DAYS',
      kinds: ['cycles', 'readings', 'followUps'],
    },
    {
      says: 'Words and numbers of messages and of replies',
      days: textDays,
      since: 'after they were sent or came',
      setting: 'RETENTION_TEXT_DAYS',
      kinds: ['messages', 'replies'],
    },
    {
      says: 'The record of who saw and changed what',
      days: auditDays,
      since: 'after the entry',
      setting: 'RETENTION_AUDIT_DAYS',
      kinds: ['audit'],
    },
  ]
}

const COUNTED: Record<string, string> = {
  cycles: 'Patients’ dates of periods',
  readings: 'Readings of replies',
  followUps: 'Details of calls',
  messages: 'Words of messages',
  replies: 'Replies',
  signsOfLife: 'When numbers were last heard',
  earlyReceipts: 'Receipts without a message',
  sentParts: 'Parts of messages whose receipts did not come',
  feedVisits: 'Appointments of schedules that are kept elsewhere',
  feedNotes: 'Messages of schedules by which repeats are known, and faults',
  sessions: 'Ended sessions',
  signInTries: 'Counts of failed sign-ins',
  audit: 'Entries of the record',
}

async function retentionPage(sheet: SettingsContext): Promise<PageContent> {
  const { retention } = sheet.deps.access.read
  const [[last], clearedTo] = await Promise.all([retention.runs(1), retention.clearedTo()])
  const upTo = (kinds: readonly string[]) => {
    const marks = kinds.flatMap((kind) => clearedTo.get(kind) ?? [])
    const least = marks.sort((a, b) => a.getTime() - b.getTime())[0]
    return marks.length < kinds.length || least === undefined ? 'Nothing yet' : longDay(least, sheet.zone)
  }
  const COLUMNS = ['What', 'Is kept', 'Setting', 'Cleared up to']
  return {
    title: 'What is kept',
    here: 'retention',
    body: html`<p>What is no longer needed is cleared by itself, once a day. Counts stay, and a wish to get no messages.
Whoever runs the service changes a setting; a lower one clears what is older within the hour, and what is cleared cannot be
brought back.</p>
<table class="ledger plain-table"><caption class="unseen">Rules</caption>
<thead><tr>${COLUMNS.map((name) => html`<th scope="col">${name}</th>`)}</tr></thead>
<tbody>${rulesOf(sheet).map(
      ({ says, days, since, setting, kinds }) => html`<tr><td>${says}</td><td><b>${days} days</b> ${since}</td>
<td><code>${setting}</code></td><td>${upTo(kinds)}</td></tr>
`,
    )}</tbody></table>
<h2>The last time</h2>
${
  last === undefined
    ? html`<p class="empty">Nothing has been cleared yet.</p>`
    : html`<p>${sheet.dayAndClock(last.at, sheet.zone)}.</p><dl class="facts">${Object.entries(last.counts).map(
        ([kind, count]) =>
          html`<div><dt>${COUNTED[kind] ?? spoken(kind)}</dt><dd>${count.toLocaleString('en')}</dd></div>`,
      )}</dl>`
}`,
  }
}
