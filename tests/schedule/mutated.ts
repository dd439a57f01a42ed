import fc from 'fast-check'

/** What breaks readers: nothing, too much, what looks like a number, a date, a name of JavaScript. */
const odd = fc.oneof(
  fc.constantFrom<unknown>(
    '',
    ' ',
    '\u0000',
    '\ud800',
    '2026-02-30',
    '0000-00-00',
    '9999999-12-31',
    '2026-03-08T02:30:00',
    '__proto__',
    'constructor',
    '#',
    'Patient/',
    '1e999',
    null,
    true,
    [],
    {},
    [[]],
    -1,
    2 ** 53,
    1e308,
    'x'.repeat(5_000),
  ),
  fc.string({ unit: 'binary', maxLength: 30 }),
  fc.jsonValue({ maxDepth: 2 }),
)

type Step = { path: number[]; what: 'replace' | 'remove' | 'rename' | 'twice'; by: unknown }

const step: fc.Arbitrary<Step> = fc.record({
  path: fc.array(fc.nat(20), { maxLength: 8 }),
  what: fc.constantFrom('replace' as const, 'remove' as const, 'rename' as const, 'twice' as const),
  by: odd,
})

/** JSON like one of these, with up to four things in it made otherwise. */
export function mutatedJson(originals: readonly unknown[]): fc.Arbitrary<unknown> {
  return fc.tuple(fc.constantFrom(...originals), fc.array(step, { maxLength: 4 })).map(([original, steps]) => {
    const copy = { root: structuredClone(original) }
    for (const one of steps) mutate(copy, 'root', one)
    // As it would come: what JSON cannot say is not sent.
    return JSON.parse(JSON.stringify(copy.root ?? null))
  })
}

type Holder = Record<string, unknown>

function mutate(holder: object, key: string, { path, what, by }: Step): void {
  const value = (holder as Holder)[key]
  const [first, ...rest] = path
  const keys = typeof value === 'object' && value !== null ? Object.keys(value) : []
  if (first !== undefined && keys.length > 0)
    return mutate(value!, keys[first % keys.length]!, { path: rest, what, by })
  // A copy: two steps may draw one and the same list, and what holds itself is no JSON.
  if (what === 'replace') (holder as Holder)[key] = structuredClone(by)
  else if (what === 'remove' && Array.isArray(holder)) holder.splice(Number(key), 1)
  else if (what === 'remove') delete (holder as Holder)[key]
  else if (Array.isArray(holder)) holder.push(structuredClone(value))
  // Own, even where it is called `__proto__`.
  else
    Object.defineProperty(holder, typeof by === 'string' ? by : JSON.stringify(by), {
      value,
      enumerable: true,
      configurable: true,
      writable: true,
    })
}

/** Text like one of these, with pieces cut, doubled or put in. */
export function mutatedText(originals: readonly string[]): fc.Arbitrary<string> {
  const piece = fc.oneof(
    fc.constantFrom(
      '"',
      ',',
      ';',
      '\t',
      '\r\n',
      '\n',
      '\u0000',
      '\ufeff',
      '=',
      '1/2/26',
      '24:00',
      '99:99 pm',
      ':',
      '::',
    ),
    fc.string({ unit: 'binary', maxLength: 12 }),
  )
  const cut = fc.record({ at: fc.double({ min: 0, max: 1, noNaN: true }), length: fc.nat(30), by: piece })
  return fc.tuple(fc.constantFrom(...originals), fc.array(cut, { maxLength: 5 })).map(([original, cuts]) =>
    cuts.reduce((text, { at, length, by }) => {
      const place = Math.floor(at * text.length)
      return text.slice(0, place) + by + text.slice(place + length)
    }, original),
  )
}
