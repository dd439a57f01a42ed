import { clinicOf, entry } from './entry.ts'
import type { Feed } from './feed.ts'
import type { LookUps } from './known.ts'
import { currentId } from './our-view.ts'

/** Codes that visits have and the feed's description does not know. */
export interface Unmapped {
  /** The nearest place of each visit of no clinic of ours. */
  clinics: string[]
  /** Languages of their patients, where none is usual. */
  languages: string[]
}

/** What somebody who knows the sender could say of these visits, so that they need wait no longer. */
export function unmappedOf(known: LookUps, keys: readonly string[], feed: Feed): Unmapped {
  const clinics = new Set<string>()
  const languages = new Set<string>()
  for (const key of keys) {
    const row = known.visits.get(key)
    const types = row?.types?.value ?? []
    if (!types.some((type) => entry(feed.types, type))) continue
    const [place] = row?.places?.value ?? []
    if (place !== undefined && !clinicOf(row!.places!.value, feed)) clinics.add(place)
    const language = row?.patient && known.patients.get(currentId(known, row.patient.value))?.language?.value
    if (language && feed.usualLanguage === null && !entry(feed.languages, language)) languages.add(language)
  }
  return { clinics: [...clinics].sort(), languages: [...languages].sort() }
}
