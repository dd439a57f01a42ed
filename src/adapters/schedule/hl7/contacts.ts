import type { ToldPatient } from '../../../domain/schedule/schedule-news.ts'
import { get, repetitions, text, type Segment } from './parse.ts'

/** Home, and since 2.7 all of the patient's own. Work numbers (PID-14) are never read: others pick up there. */
const FIELDS = [13, 40] as const
type Phone = NonNullable<ToldPatient['phones']>[number]

/** HL7 table 0201: at work, somebody else in an emergency, an answering service, a pager. */
const NOT_THEIRS: ReadonlySet<string> = new Set(['WPN', 'EMR', 'ASN', 'BPN'])
/** HL7 table 0202: fax, modem, pager, and what is no telephone at all. */
const NO_PHONE: ReadonlySet<string> = new Set(['FX', 'MD', 'BP', 'INTERNET', 'X.400'])
const ORDER = ['mobile', 'unknown', 'fixed'] as const

/** Numbers, mobiles first, and the e-mail address. `""` takes all of a field away; an empty field says nothing. */
export function contactsOf(pid: Segment): Pick<ToldPatient, 'phones' | 'email'> {
  const all = FIELDS.flatMap((field) => repetitions(pid, field).map((n) => new Telecom(pid, field, n)))
  const phones = all.flatMap((telecom) => telecom.phone() ?? [])
  const email = all.map((telecom) => telecom.email()).find((address) => address !== '')
  const none = FIELDS.some((field) => get(pid, field) === null) ? null : undefined
  const best = ORDER.flatMap((kind) => phones.filter((phone) => phone.kind === kind))
  return { phones: best.length > 0 ? best : none, email: email ?? none }
}

/** XTN of any version: the whole number in .1 (until 2.6) or .12 (since), or in parts in .5 to .7. */
class Telecom {
  readonly #part: (component: number) => string
  readonly #use: string
  readonly #equipment: string

  constructor(pid: Segment, field: number, n: number) {
    this.#part = (component) => text(pid, field, n, component)
    this.#use = this.#part(2).toUpperCase()
    this.#equipment = this.#part(3).toUpperCase()
  }

  phone(): Phone | null {
    if (NOT_THEIRS.has(this.#use) || this.#use === 'NET' || NO_PHONE.has(this.#equipment)) return null
    const number = this.#inParts() ?? this.#whole(1) ?? this.#whole(12)
    return number === null ? null : { number, kind: this.#kind() }
  }

  email(): string {
    if (NOT_THEIRS.has(this.#use)) return ''
    return [this.#part(4), this.#part(1)].find((address) => /^[^\s@]+@[^\s@]+$/.test(address)) ?? ''
  }

  #inParts(): string | null {
    const [country, area, local] = [5, 6, 7].map(this.#part)
    if (!hasDigits(area!) || !hasDigits(local!)) return null
    const inland = `${area} ${local}`
    return hasDigits(country!) ? `+${country!.replace(/^\+|^00/, '')} ${inland}` : inland
  }

  /** TN: `[NN] [(999)]999-9999[X99999][B99999][C any text]`; what follows the number cannot be sent to. */
  #whole(component: number): string | null {
    const written = this.#part(component)
    if (written.includes('@') || !hasDigits(written)) return null
    return written.replace(/(?<=\d)\s*(X|B|C|ext).*$/is, '').trim()
  }

  #kind(): Phone['kind'] {
    if (this.#equipment === 'CP') return 'mobile'
    const home = this.#use === 'PRN' || this.#use === 'ORN' || this.#use === 'VHN'
    return home && ['PH', 'TDD', 'TTY'].includes(this.#equipment) ? 'fixed' : 'unknown'
  }
}

const hasDigits = (part: string) => /\d/.test(part)
