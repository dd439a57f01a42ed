/** The front desk, through the same HTTP API that any program would use. */
export class Desk {
  readonly #base: string
  #key = 0

  constructor(url: string) {
    this.#base = `${url}/api/v1`
  }

  post<T>(path: string, body: object): Promise<T> {
    return this.#call<T>('POST', path, body)
  }

  get<T>(path: string): Promise<T> {
    return this.#call<T>('GET', path)
  }

  async #call<T>(method: string, path: string, body?: object): Promise<T> {
    const response = await fetch(this.#base + path, {
      method,
      headers: { 'Content-Type': 'application/json', 'Idempotency-Key': `demo-desk-${this.#key++}` },
      ...(body && { body: JSON.stringify(body) }),
    })
    const answer = (await response.json()) as T & { detail?: string }
    if (!response.ok) throw new Error(`${method} ${path}: ${response.status} ${answer.detail ?? ''}`)
    return answer
  }
}

export interface BookedAnswer {
  booking: { id: string; visit: string }
  timing: { keep: boolean; reason: string; cycleDay: number | null; avoidProbability: number }
  openings: { at: string }[]
}
