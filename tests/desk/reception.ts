import { readFileSync } from 'node:fs'
import { DateTime } from 'luxon'
import { serveApi } from '../harness/api.ts'
import { CLINIC, TestWorld } from '../harness/world.ts'

export const NOW = '2026-03-09T13:00:00Z'
export const DESK = `/desk/${CLINIC.id}`

/** Invented people; numbers reserved for fiction (NANPA 555-01xx). */
const PEOPLE: [name: string, visit: string, lmp: string | null, minutes?: number][] = [
  ['Marit Quillon', '2026-03-09T11:20', '2026-02-25'],
  ['Tova Brandle', '2026-03-09T14:40', '2026-02-28'],
  ['Isaura Skerrow', '2026-03-10T09:00', '2026-03-08'],
  ['Brenna Tarnley', '2026-03-11T10:20', null],
  ['Odile Ashquay', '2026-03-12T09:40', '2026-02-24'],
  ['Sunniva Quillon', '2026-03-16T10:30', '2026-02-17'],
  ['Corisande Brandle-Skerrow', '2026-03-20T13:00', '2026-02-20'],
  ['Yvaine Tarnley', '2026-03-31T09:20', '2026-03-02'],
]

export interface Reception {
  world: TestWorld
  base: string
  ids: string[]
  close(): Promise<void>
}

/** A clinic on a Monday morning: a few visits, openings three weeks on, and a server. */
export async function openReception(): Promise<Reception> {
  const world = await TestWorld.create(NOW)
  await world.openings(...openings())
  const ids: string[] = []
  for (const [index, [name, visit, lmp]] of PEOPLE.entries()) {
    const cycle =
      lmp === null ? ({ status: 'unknown' } as const) : ({ status: 'cycling', lmp, usualCycleDays: 28 } as const)
    const { booking } = await world.book({
      name,
      visit,
      phone: `782 555 01${10 + index}`,
      cycle,
      ...(index === 3 && { consent: null }),
    })
    ids.push(booking.id)
  }
  const api = await serveApi(world)
  return { world, base: api.base, ids, close: async () => (await api.close(), world.close()) }
}

function openings(): string[] {
  const first = DateTime.fromISO('2026-03-16', { zone: CLINIC.zone })
  const days = Array.from({ length: 28 }, (_, day) => first.plus({ days: day })).filter(
    ({ weekday }) => weekday === 2 || weekday === 4,
  )
  return days.flatMap((day) => ['09:00', '09:20', '09:40', '15:20'].map((clock) => `${day.toISODate()}T${clock}`))
}

/** A page's words, as text. */
export async function pageText(base: string, path: string): Promise<string> {
  const answer = await fetch(base + path)
  return (await answer.text())
    .replaceAll(/<(script|style)[\s\S]*?<\/\1>/g, '')
    .replaceAll(/<[^>]+>/g, ' ')
    .replaceAll(/\s+/g, ' ')
}

/** Sends a form as a browser would from a page of ours. */
export function postForm(
  base: string,
  path: string,
  fields: Record<string, string | string[]>,
  headers: Record<string, string> = { 'Sec-Fetch-Site': 'same-origin' },
): Promise<Response> {
  const body = new URLSearchParams()
  for (const [name, value] of Object.entries(fields)) for (const each of [value].flat()) body.append(name, each)
  return fetch(base + path, { method: 'POST', body, headers, redirect: 'manual' })
}

export const axeSource = () => readFileSync(new URL('../../node_modules/axe-core/axe.min.js', import.meta.url), 'utf8')
