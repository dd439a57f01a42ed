import type { OurVisit } from './our-visit.ts'

export const isSame = (a: OurVisit, b: OurVisit) => JSON.stringify(a) === JSON.stringify(b)
export const isElsewhere = (a: OurVisit, b: OurVisit) =>
  a.startsAt.getTime() !== b.startsAt.getTime() || a.clinic !== b.clinic || a.clinician !== b.clinician

export function movedWords(a: OurVisit, b: OurVisit): string {
  const what = [
    a.startsAt.getTime() !== b.startsAt.getTime() && 'time',
    a.clinic !== b.clinic && 'clinic',
    a.clinician !== b.clinician && 'clinician',
  ]
  return `Another ${what.filter(Boolean).join(', ')}.`
}

/** Names of what differs, never the values. */
export function changedWords(a: OurVisit, b: OurVisit): string {
  const plain = ({ patient, ...rest }: OurVisit): Record<string, unknown> => ({ ...rest, ...patient })
  const [from, to] = [plain(a), plain(b)]
  return `Changed: ${Object.keys(to)
    .filter((name) => JSON.stringify(from[name]) !== JSON.stringify(to[name]))
    .join(', ')}.`
}
