import type { Channel } from '../../../domain/messages/texts/kinds.ts'
import type { Language } from '../../../domain/messages/texts/library.ts'
import type { SurveyRow } from '../../../domain/messages/texts/survey.ts'
import type { CallPhrases } from '../../../domain/messages/voice/phrases.ts'
import type { PageWords } from '../../templates/load-page.ts'
import type { Wording } from '../../templates/load-wording.ts'
import { html, type Html } from '../pages/html.ts'
import { languageLink, layout } from '../pages/layout.ts'
import { urgentWords } from '../private-page/patient-page.ts'

/**
 * Every text of one language, for a reviewer to read, print and approve; beside it the English, where it is another.
 */
export interface ContactSheet {
  language: Language
  /** The survey of `language` and of English. */
  rows: readonly SurveyRow[]
  wording: Wording
  /** What to dial in an emergency; null: the words that stand for it. */
  emergency: string | null
  /** Address of this page; the switch adds `?lang=…`. Null for a page that is opened as a file: no switch then. */
  path: string | null
  /** Style sheet to put into the page, for a file. */
  css?: string
}

/** One thing to approve. */
interface Entry {
  heading: string
  /** Where the same words are used again. */
  also: string[]
  words: string
  english: string | null
  facts: string[]
  approved: boolean
}

/** The contact sheet as a whole HTML document. */
export function renderContactSheet(sheet: ContactSheet): string {
  const { language, css } = sheet
  const groups: [string, Entry[]][] = [
    ...byKind(sheet),
    ['Answers to preparation questions', answers(sheet)],
    ['What calls say around a message', calls(sheet)],
    ['The patient’s page', page(sheet)],
  ]
  const drafts = groups.flatMap(([, entries]) => entries).filter(({ approved }) => !approved).length
  return layout({
    lang: 'en',
    direction: 'ltr',
    title: `Texts for review: ${language.name}`,
    kind: 'sheet',
    ...(css !== undefined && { css }),
    body: html`<header>
<h1>Texts for review: <span lang="${language.locale}">${language.name}</span></h1>
<p>Each text is shown at its longest, with an invented clinic. ${state(drafts)}</p>
<p class="screen">To approve what you have read: the desk’s page “Texts”, or
<code>npx daysix texts --language ${language.code} --approve "your role" --on YYYY-MM-DD</code>.
Change a word, and that text is a draft again.</p>
<p>Local protocol and licensed practice prevail over every text here.</p>
${switcher(sheet)}
</header>
<main>
${groups.map(([title, entries]) => group(title, entries, language))}
</main>
<footer><p>Reviewer’s role: <span class="line"></span> Date: <span class="line"></span></p></footer>`,
  }).text
}

function state(drafts: number): string {
  return drafts === 0 ? 'All are approved.' : `${drafts} are drafts, until your clinic approves them.`
}

function switcher({ path, wording: { library }, language }: ContactSheet): Html | null {
  if (path === null) return null
  return html`<nav aria-label="Language" class="screen"><ul class="languages">
${[...library.languages.values()].map((each) => languageLink(each, path, language.code))}</ul></nav>`
}

function group(title: string, entries: Entry[], language: Language): Html | null {
  if (entries.length === 0) return null
  const id = title.toLowerCase().replace(/[^a-z]+/g, '-')
  return html`<section aria-labelledby="${id}">
<h2 id="${id}">${title}</h2>
${entries.map((entry) => article(entry, language))}
</section>
`
}

function article({ heading, also, words, english, facts, approved }: Entry, { locale, direction }: Language): Html {
  return html`<article${!approved && html` class="is-draft"`}>
<h3>${heading}</h3>
<div class="pair">
<p class="words" lang="${locale}" dir="${direction}">${words}</p>
${english !== null && html`<p class="words english" lang="en" dir="ltr">${english}</p>`}
</div>
<p class="facts">${facts.join(' · ')}</p>
${also.length > 0 && html`<p class="facts">Also for: ${also.join(', ')}</p>`}
<p class="print">☐ approved&ensp;☐ to change: <span class="line"></span></p>
</article>
`
}

/** The texts by kind. Words that several kinds share (greeting, keys, voicemail) are shown once. */
function byKind({ rows, language }: ContactSheet): [string, Entry[]][] {
  const own = rows.filter((row) => row.language === language.code)
  const english = new Map(rows.filter((row) => row.language === 'en').map((row) => [keyOf(row), row.text]))
  const shared = groupBy(own, (row) => `${row.channel} ${row.part} ${row.text}`)
  const kinds = groupBy([...shared.values()], ([first]) => first!.kind)
  return [...kinds].map(([kind, sharing]) => [
    kind,
    sharing.map(([first, ...others]) =>
      textEntry(first!, others, language.code === 'en' ? null : (english.get(keyOf(first!)) ?? null)),
    ),
  ])
}

function keyOf({ kind, channel, part }: SurveyRow): string {
  return `${kind}.${channel}.${part}`
}

function groupBy<T>(items: readonly T[], key: (item: T) => string): Map<string, T[]> {
  const groups = new Map<string, T[]>()
  for (const item of items) groups.set(key(item), [...(groups.get(key(item)) ?? []), item])
  return groups
}

const CHANNEL_WORDS: Record<Channel, string> = { sms: 'SMS', voice: 'Voice', email: 'E-mail' }

function textEntry(row: SurveyRow, others: SurveyRow[], english: string | null): Entry {
  const cost =
    row.channel === 'sms'
      ? [`${row.encoding}, ${row.units} units, ${row.segments} ${row.segments === 1 ? 'segment' : 'segments'}`]
      : []
  const over = row.overBudget === null ? [] : [`over budget: ${row.overBudget}`]
  const grade = row.grade === null ? [] : [`reading grade ${row.grade.toFixed(1)}`]
  return {
    heading: `${CHANNEL_WORDS[row.channel]}, ${row.part}`,
    also: others.map(({ kind }) => kind),
    words: row.text,
    english,
    facts: [
      ...cost,
      ...grade,
      ...over,
      row.state === 'approved' ? `approved by ${row.approvedBy} on ${row.approvedOn}` : 'draft',
    ],
    approved: row.state === 'approved',
  }
}

function answers({ wording: { protocols }, language }: ContactSheet): Entry[] {
  const all = [...protocols.values()].flatMap(({ id, answers: topics }) =>
    Object.entries(topics).map(([topic, byLanguage]) => ({
      id,
      topic,
      own: byLanguage[language.code],
      english: byLanguage.en?.sentence ?? null,
    })),
  )
  const known = all.flatMap(({ own, ...rest }) => (own ? [{ ...rest, ...own }] : []))
  return [...groupBy(known, ({ topic, sentence }) => `${topic} ${sentence}`).values()].map((same) => ({
    heading: same[0]!.topic,
    also: [],
    words: same[0]!.sentence,
    english: language.code === 'en' ? null : same[0]!.english,
    facts: [same.map(({ id }) => id).join(', '), same[0]!.state],
    approved: same[0]!.state === 'approved',
  }))
}

function page({ wording: { pages, library }, language: { code }, emergency }: ContactSheet): Entry[] {
  const read = (of: string): PageWords | undefined => {
    const words = pages.get(of)?.words
    return words && { ...words, urgent: urgentWords(words, library.languages.get(of)!, emergency) }
  }
  const own = read(code)
  return own ? wholeGroup(own, code === 'en' ? undefined : read('en'), pages.get(code)!.state) : []
}

function calls({ wording: { phrases }, language: { code } }: ContactSheet): Entry[] {
  const own = phrases.get(code)
  const english = code === 'en' ? undefined : phrases.get('en')
  return own ? wholeGroup(saidIn(own), english && saidIn(english), own.state) : []
}

const saidIn = ({ keys, period, says }: CallPhrases) => ({ keys, period, says })

/** Words that are approved together. */
function wholeGroup(own: object, english: object | undefined, state: CallPhrases['state']): Entry[] {
  const inEnglish = new Map(flatten(english ?? {}))
  return flatten(own).map(([heading, words]) => ({
    heading,
    also: [],
    words,
    english: inEnglish.get(heading) ?? null,
    facts: [state],
    approved: state === 'approved',
  }))
}

function flatten(words: object, at: string[] = []): [string, string][] {
  return Object.entries(words).flatMap(([key, value]): [string, string][] =>
    typeof value === 'string' ? [[[...at, key].join(' › '), value]] : flatten(value as object, [...at, key]),
  )
}
