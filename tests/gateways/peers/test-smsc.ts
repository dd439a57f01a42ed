import { once } from 'node:events'
import type { AddressInfo } from 'node:net'
import smpp from 'smpp'
import { FATES } from '../fates.ts'

// A message centre inside the test process, for machines without Perl. It stands on the sessions of npm smpp, which the
// gateway does not use; the independent referee is smsc.pl.

export interface Taken {
  id: string
  to: string
  text: string
  part?: [reference: number, total: number, number: number]
  /** By this machine's clock. */
  at: number
}

interface Told {
  fields: object
  session: smpp.Session
}

/** A reply that a patient's phone sends: texts as octets, since the peer decides how they are coded. */
export interface Said {
  source_addr: string
  source_addr_ton?: number
  data_coding: number
  esm_class?: number
  short_message: Buffer
  [field: string]: unknown
}

const REFUSALS: Record<string, number> = { [FATES.reject]: 0x0b, [FATES.later]: 0x08, [FATES.throttle]: 0x58 }

export class TestSmsc {
  readonly taken: Taken[] = []
  readonly sessions = new Set<smpp.Session>()
  /** Those bound as receiver or transceiver: where receipts and replies go. */
  readonly receivers = new Set<smpp.Session>()
  binds = 0
  /** Statuses with which the next submissions are answered, whatever their number; 0 accepts. */
  refuseNext: number[] = []
  /** What is done with a bind request; by default it is accepted. */
  onBind: (session: smpp.Session, pdu: smpp.PDU) => void = (session, pdu) =>
    session.send(pdu.response({ system_id: 'TEST' }))
  readonly #server = smpp.createServer((session) => this.#serve(session))
  #next = 0x0a1b2c00

  async listen(port = 0): Promise<number> {
    this.#server.listen(port, '127.0.0.1')
    await once(this.#server, 'listening')
    return (this.#server.address() as AddressInfo).port
  }

  async close(): Promise<void> {
    this.dropAll()
    this.#server.close()
    await once(this.#server, 'close')
  }

  dropAll(): void {
    for (const session of this.sessions) session.destroy()
  }

  /** Sends a reply over every session; told again when it is refused for now. Resolves when it is acknowledged. */
  async say(said: Said): Promise<void> {
    const fields = { source_addr_ton: 1, destination_addr: '80001', ...said }
    await Promise.all([...this.receivers].map((session) => this.#tell({ fields, session })))
  }

  #serve(session: smpp.Session): void {
    this.sessions.add(session)
    session.on('close', () => (this.sessions.delete(session), this.receivers.delete(session)))
    session.on('error', () => session.destroy())
    session.on('pdu', (pdu: smpp.PDU) => this.#take(session, pdu))
  }

  #take(session: smpp.Session, pdu: smpp.PDU): void {
    if (pdu.command.startsWith('bind_') && !pdu.isResponse()) {
      this.binds++
      this.onBind(session, pdu)
      if (pdu.command !== 'bind_transmitter') this.receivers.add(session)
    } else if (pdu.command === 'submit_sm') void this.#submit(session, pdu)
    else if (pdu.command === 'enquire_link' || pdu.command === 'unbind') session.send(pdu.response())
  }

  async #submit(session: smpp.Session, pdu: smpp.PDU): Promise<void> {
    const to = `+${String(pdu.destination_addr)}`
    const refused = this.refuseNext.shift() ?? REFUSALS[to] ?? 0
    if (refused !== 0) return void session.send(pdu.response({ command_status: refused }))
    const id = (this.#next++).toString(16).toUpperCase()
    this.taken.push({ id, to, ...textOf(pdu), at: Date.now() })
    if (to === FATES.silent) return
    if (to === FATES.drop) return session.destroy()
    if (to === FATES.earlyReceipt) this.#receipt(pdu, id, to)
    if (to === FATES.slow) await new Promise((resume) => setTimeout(resume, 300))
    const times = to === FATES.twice ? 2 : 1
    for (let n = 0; n < times; n++) session.send(pdu.response({ message_id: id }))
    if (to === FATES.noReceipt || to === FATES.earlyReceipt) return
    for (let n = 0; n < times; n++) this.#receipt(pdu, id, to)
  }

  #receipt(pdu: smpp.PDU, id: string, to: string): void {
    const stat = to === FATES.undelivered ? 'UNDELIV err:011' : 'DELIVRD err:000'
    const number = String(parseInt(id, 16)).padStart(10, '0')
    const text = `id:${number} sub:001 dlvrd:001 submit date:2603171200 done date:2603171201 stat:${stat} text:...`
    const fields = { source_addr: pdu.destination_addr, esm_class: 4, data_coding: 0, short_message: Buffer.from(text) }
    for (const session of this.receivers) void this.#tell({ fields, session })
  }

  async #tell({ fields, session }: Told): Promise<void> {
    const answer = await new Promise<smpp.PDU>((resolve) => session.deliver_sm({ ...fields }, resolve))
    if (answer.command_status === 0) return
    await new Promise((resume) => setTimeout(resume, 50))
    return this.#tell({ fields, session })
  }
}

/** The library reads data_coding 0 and 8 rightly. */
function textOf(pdu: smpp.PDU): Pick<Taken, 'text' | 'part'> {
  const { message, udh } = pdu.short_message as { message: string; udh?: Buffer[] }
  const header = udh?.[0]
  return header ? { text: message, part: [header[2]!, header[3]!, header[4]!] } : { text: message }
}
