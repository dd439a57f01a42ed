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
