import type { Feed } from './feed.ts'

/**
 * What a site's table says of a code that somebody else wrote: without regard to capitals and blanks around it, since
 * senders are not strict about either; words such as `constructor` are no entries of it.
 */
export function entry<T>(table: Readonly<Record<string, T>>, code: string): T | undefined {
  if (Object.hasOwn(table, code)) return table[code]
  const plain = (text: string) => text.trim().toLowerCase()
  const name = Object.keys(table).find((each) => plain(each) === plain(code))
  return name === undefined ? undefined : table[name]
}

/** Our clinic by the first of these places that the feed knows, else by its word for every other place. */
export function clinicOf(places: readonly string[], { clinics }: Feed): string | undefined {
  return places.map((place) => entry(clinics, place)).find(Boolean) ?? entry(clinics, '*')
}

/** Our name of a clinician; one that the feed does not list is taken as it is. */
export function clinicianOf(theirs: string, { clinicians }: Feed): string {
  return entry(clinicians, theirs) ?? theirs
}
