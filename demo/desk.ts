import type { DateTime } from 'luxon'
import type { Diary } from './diary.ts'
import type { DemoPatient } from './scenario.ts'

/** The front desk, through the same HTTP API that any program would use. */
export class Desk {
  readonly #base: string
  readonly #diary: Diary
  #key = 0

  constructor(url: string, diary: Diary) {
    this.#base = `${url}/api/v1`
    this.#diary = diary
  }

  /**
   * Where somebody was moved to that time meanwhile, the next that is free is agreed.
   *
   * @param lmp the first day of the last period, as the patient tells it
   */
  async book(person: DemoPatient, visit: DateTime, lmp: DateTime): Promise<BookedAnswer> {
    try {
      return await this.#bookAt(person, visit, lmp)
    } catch (error) {
      if (!(error instanceof TimeTaken)) throw error
      return this.book(person, this.#diary.next(person.clinic, visit), lmp)
    }
  }

  #bookAt(person: DemoPatient, visit: DateTime, lmp: DateTime): Promise<BookedAnswer> {
    return this.post<BookedAnswer>('/bookings', {
      clinic: person.clinic,
      visit: visit.toFormat("yyyy-MM-dd'T'HH:mm"),
      patient: { name: person.name, phone: person.phone, language: person.language },
      cycle: { lmp: lmp.toISODate(), usualCycleDays: person.usualCycleDays },
      consent: { recordedBy: 'desk', wording: 'May we text you about this visit?' },
    })
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
    const answer = (await response.json()) as T & { detail?: string; code?: string }
    if (answer.code === 'time-taken') throw new TimeTaken(answer.detail)
    if (!response.ok) throw new Error(`${method} ${path}: ${response.status} ${answer.detail ?? ''}`)
    return answer
  }
}

class TimeTaken extends Error {}

export interface BookedAnswer {
  booking: { id: string; visit: string }
  timing: { keep: boolean; reason: string; cycleDay: number | null; avoidProbability: number }
  openings: { at: string }[]
}
