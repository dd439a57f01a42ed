import { loadWording } from '../../src/adapters/templates/load-wording.ts'
import type { PatientPage } from '../../src/adapters/http/private-page/page-data.ts'
import { approvedIn } from '../harness/approvals.ts'

/** At a site that has approved English. */
export const wording = loadWording(approvedIn('en'))
export const { library, pages: pageTexts, protocols } = wording
export const LANGUAGES = ['en', 'es', 'fr', 'pa', 'uk']

/** The page of an invented booking: Friday 20 March 2026, 10:30 in Halifax, ten days ahead. */
export function examplePage(language: string, more: Partial<PatientPage> = {}): PatientPage {
  const { avoid, fine } = protocols.get('liquid-based-cytology')!
  return {
    clinic: { name: 'Riverbend Medical Clinic', phone: '+1 613 555 0142', emergency: null },
    confirmed: false,
    unread: false,
    byMail: false,
    visit: new Date('2026-03-20T13:30:00Z'),
    zone: 'America/Halifax',
    avoid,
    fine,
    periods: true,
    ask: 'period',
    choices: [],
    now: new Date('2026-03-10T15:00:00Z'),
    today: '2026-03-10',
    language: library.languages.get(language)!,
    texts: pageTexts.get(language)!,
    offered: [...library.languages.values()],
    path: '/v/h3Kd.q7Xw2mB5tRz9LhVn4cYs8J',
    said: null,
    problem: null,
    ...more,
  }
}
