import { FEED as INVENTED } from './invented-feed.ts'
import type { Feed } from '../../src/domain/schedule/feed.ts'
import { reconcile } from '../../src/domain/schedule/reconcile.ts'
import { nothingKnown, remember, type Known } from '../../src/domain/schedule/known.ts'
import type { Outcome } from '../../src/domain/schedule/outcome.ts'
import type { ScheduleNews, ToldVisit } from '../../src/domain/schedule/schedule-news.ts'

/** The feed of an invented hospital. */
export const FEED: Feed = {
  ...{ ...INVENTED, patientId: { authority: 'SKERRY', type: 'MR' } },
  ...{ clinicians: { '1001': 'North' }, languages: { ENG: 'en', FRE: 'fr' } },
}

export const NOW = new Date('2026-03-09T12:00:00Z')

/** A booking of an invented patient, as told at a minute of that morning. */
export function newsAt(
  minute: number,
  event: ScheduleNews['event'],
  { visit = {}, ...rest }: Omit<Partial<ScheduleNews>, 'visit'> & { visit?: Partial<ToldVisit> | null } = {},
): ScheduleNews {
  return {
    ...{ sender: 'SKERRY', messageId: `M${minute}`, event, sequence: null, doubts: [] },
    key: { id: '7001', namespace: 'SKERRY', occurrence: '' },
    madeAt: new Date(NOW.getTime() + minute * 60_000),
    visit: visit && {
      ...{ startsAt: new Date('2026-03-20T13:30:00Z'), minutes: 20, places: ['GYN1'], clinicians: ['1001'] },
      ...{ types: ['PAP'], status: '', ...visit },
    },
    patient: {
      ids: [{ value: '000123', authority: 'SKERRY', type: 'MR' }],
      name: 'Ada Fenwick',
      phones: [{ number: '782 555 0101', kind: 'mobile' }],
      language: 'ENG',
    },
    ...rest,
  }
}

/** What each piece of news did, and what is known at the end. */
export function take(news: readonly ScheduleNews[], feed = FEED, now = NOW): { outcomes: Outcome[]; known: Known } {
  const known = nothingKnown()
  const outcomes = news.map((each) => {
    const { outcome, kept } = reconcile(known, each, feed, now)
    remember(known, kept)
    return outcome
  })
  return { outcomes, known }
}
