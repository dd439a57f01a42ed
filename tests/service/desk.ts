/** What a front desk's program does over the API, for tests that run the real service in a process of its own. */
export class Desk {
  readonly #base: string
  readonly #headers: Record<string, string>
  #next = 0

  constructor(base: string, apiKey?: string) {
    this.#base = base
    this.#headers = { 'Content-Type': 'application/json', ...(apiKey && { Authorization: `Bearer ${apiKey}` }) }
  }

  async call(method: string, path: string, body?: unknown) {
    const sent = body === undefined ? {} : { body: JSON.stringify(body) }
    const response = await fetch(`${this.#base}/api/v1${path}`, { method, headers: this.#headers, ...sent })
    const text = await response.text()
    // eslint-disable-next-line @typescript-eslint/no-explicit-any -- answers are looked into freely
    return { status: response.status, headers: response.headers, body: (text === '' ? null : JSON.parse(text)) as any }
  }

  /** A clinic in a zone where it is about one in the afternoon now, so that sending is allowed whenever a test runs. */
  async clinic(gateway = 'ledger'): Promise<void> {
    const hours = 13 - new Date().getUTCHours()
    const zone = `Etc/GMT${hours > 0 ? '-' : '+'}${Math.abs(hours)}`
    await this.done('PUT', '/clinics/main', {
      name: 'Harbour Clinic',
      // Set apart for drama (Ofcom; value from memory): production refuses what North America sets apart for fiction.
      phone: '+441632960100',
      zone,
      country: 'CA',
      settings: { gateway },
    })
  }

  /** Books a visit in some weeks, for a new patient; the confirmation goes out at once. @returns its id */
  async book(number?: string): Promise<string> {
    return must(await this.tryToBook(number)).booking.id as string
  }

  /** The same, with whatever is answered. */
  tryToBook(number?: string, detail: 'full' | 'discreet' = 'full') {
    const n = this.#next++
    const visit = new Date(Date.now() + (20 * 24 + n) * 3_600_000).toISOString()
    const phone = number ?? `+1613555${String(110 + (n % 90)).padStart(4, '0')}`
    const patient = { name: `Patient ${n}`, phone, language: 'en', channel: 'sms', detail }
    return this.call('POST', '/bookings', {
      protocol: 'liquid-based-cytology',
      visit,
      patient,
      cycle: { lmp: 'no-periods' },
      consent: { recordedBy: 'desk' },
      by: 'desk',
    })
  }

  /** What has gone out about a visit, oldest first. */
  async gone(bookingId: string): Promise<string[]> {
    const { messages } = await this.done('GET', `/bookings/${bookingId}`)
    const said = messages as { kind: string; sentAt: string | null }[]
    return said.filter(({ sentAt }) => sentAt !== null).map(({ kind }) => kind)
  }

  async confirmation(bookingId: string): Promise<{ id: string; state: string }> {
    const { messages } = await this.done('GET', `/bookings/${bookingId}`)
    return (messages as { id: string; kind: string; state: string }[]).find(({ kind }) => kind === 'confirmation')!
  }

  async done(method: string, path: string, body?: unknown) {
    return must(await this.call(method, path, body), `${method} ${path}`)
  }
}

function must({ status, body }: Awaited<ReturnType<Desk['call']>>, what = 'booking') {
  if (status >= 300) throw new Error(`${what}: ${status} ${JSON.stringify(body)}`)
  return body
}
