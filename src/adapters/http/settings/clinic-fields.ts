import { LONGEST_ASK_AGAIN_MONTHS } from '../../../domain/patients/changed-hands.ts'
import { LONGEST_MINUTES, SHORTEST_MINUTES } from '../../../domain/visits/duration.ts'
import type { Choices } from './form-fields.ts'

/** How a setting of a clinic is asked for. */
export interface ClinicField {
  /** Path in the body that the API takes, which is also its name in the form. */
  path: string
  label: string
  /** What it means, for whoever decides it. */
  means?: string
  kind: 'line' | 'lines' | 'time' | 'number' | 'percent' | 'choice' | 'yes'
  /** For `choice`; of gateways, zones and the like, what this site has. */
  choices?: Choices
  /** For `number`. */
  least?: number
  most?: number
  /** Left empty it is none, not wrong. */
  mayBeNone?: true
  maxLength?: number
}

export interface ClinicGroup {
  title: string
  says?: string
  fields: readonly ClinicField[]
}

const hours = (path: string, label: string): ClinicField => ({ path: `settings.hours.${path}`, label, kind: 'time' })

/** Every setting of a clinic, in the order in which it is asked. A test holds it against `clinicSchema`. */
export const CLINIC_GROUPS: readonly ClinicGroup[] = [
  {
    title: 'The clinic',
    fields: [
      {
        path: 'name',
        label: 'Name in texts',
        means: 'Every text begins with it. At most 24 characters, so that a text stays one message.',
        kind: 'line',
        maxLength: 24,
      },
      {
        path: 'phone',
        label: 'Telephone for patients',
        means: 'Texts tell patients to call it: somebody must answer there.',
        kind: 'line',
        maxLength: 40,
      },
      {
        path: 'settings.emergency',
        label: 'Emergency number',
        means: 'What patients dial in an emergency, such as 112. Without it, texts say “your local emergency number”.',
        kind: 'line',
        mayBeNone: true,
        maxLength: 6,
      },
      {
        path: 'country',
        label: 'Country',
        means: 'Two capital letters, such as CA: how numbers without a country code are read.',
        kind: 'line',
        maxLength: 2,
      },
      { path: 'zone', label: 'Time zone', means: 'All its times are by this clock.', kind: 'choice' },
      {
        path: 'settings.address',
        label: 'Address',
        means: 'Shown on each patient’s private page.',
        kind: 'lines',
        mayBeNone: true,
      },
      {
        path: 'settings.directions',
        label: 'How to find it',
        means: 'Shown there too.',
        kind: 'lines',
        mayBeNone: true,
      },
    ],
  },
  {
    title: 'When messages go out',
    says: 'Within 08:00 and 21:00. What falls due outside waits, but how to prepare goes before; an answer goes at once.',
    fields: [
      hours('weekdays.from', 'Monday to Friday from'),
      hours('weekdays.to', 'Monday to Friday until'),
      hours('weekend.from', 'Saturday and Sunday from'),
      hours('weekend.to', 'Saturday and Sunday until'),
      { path: 'settings.gateway', label: 'Carried by', means: 'Which gateway takes its messages.', kind: 'choice' },
    ],
  },
  {
    title: 'Visits and moves',
    fields: [
      {
        path: 'settings.clock',
        label: 'The desk reads times as',
        kind: 'choice',
        choices: [
          ['24', '13:40'],
          ['12', '1:40 PM'],
        ],
      },
      {
        path: 'settings.visitMinutes',
        label: 'A visit lasts, minutes',
        means: 'Without it, as long as its protocol says.',
        kind: 'number',
        least: SHORTEST_MINUTES,
        most: LONGEST_MINUTES,
        mayBeNone: true,
      },
      {
        path: 'settings.movePolicy',
        label: 'When a patient chooses another time by text',
        kind: 'choice',
        choices: [
          ['at-once', 'The visit moves at once'],
          ['desk-approves', 'The desk approves it first'],
          ['schedule-decides', 'The clinic’s own schedule, kept elsewhere, has to say so first'],
        ],
      },
      {
        path: 'settings.lapsePolicy',
        label: 'When a patient says that preparation did not work out',
        kind: 'choice',
        choices: [
          ['desk-decides', 'The desk decides'],
          ['offer', 'Other times are offered at once'],
        ],
      },
      {
        path: 'settings.moveLimit.moves',
        label: 'Moves by text, at most',
        means: 'After so many, a person agrees on the next time.',
        kind: 'number',
        least: 0,
        most: 10,
      },
      {
        path: 'settings.moveLimit.weeks',
        label: 'Weeks beyond the first time, at most',
        means: 'So that a visit never drifts away.',
        kind: 'number',
        least: 0,
        most: 26,
      },
      {
        path: 'settings.holdHours',
        label: 'An offered time is held, hours',
        means: 'Then others may have it.',
        kind: 'number',
        least: 1,
        most: 168,
      },
    ],
  },
  {
    title: 'Who is written to, and what is read',
    fields: [
      {
        path: 'settings.minors.then',
        label: 'Messages of a minor',
        means: 'The clinic’s own rule. Local law prevails.',
        kind: 'choice',
        choices: [
          ['', 'No rule of our own'],
          ['guardian', 'A guardian must receive them'],
          ['person', 'A person tells; nothing is sent'],
        ],
      },
      {
        path: 'settings.minors.below',
        label: 'A minor is younger than, years',
        means: 'At the visit. Only with such a rule.',
        kind: 'number',
        least: 1,
        most: 25,
        mayBeNone: true,
      },
      {
        path: 'settings.calendar',
        label: 'Calendars elsewhere',
        means:
          'Whoever has the address of a calendar sees its visits. The addresses stand on the page of the schedule.',
        kind: 'choice',
        choices: [
          ['none', 'None'],
          ['without-names', 'Show times, without names'],
          ['with-names', 'Show times and names'],
        ],
      },
      {
        path: 'settings.calendarEdition',
        label: 'Edition of the calendars’ addresses',
        means: 'With another number every address of before shows nothing any more.',
        kind: 'number',
        least: 1,
        most: 9999,
      },
      {
        path: 'settings.askAgainMonths',
        label: 'A silent number is asked again after, months',
        means: 'Nothing heard or delivered for so long: it may be somebody else’s by now.',
        kind: 'number',
        least: 1,
        most: LONGEST_ASK_AGAIN_MONTHS,
      },
      {
        path: 'settings.minConfidence',
        label: 'A reply is acted on from, in 100',
        means: 'How sure the reading must be; what is less sure is read by a person.',
        kind: 'percent',
        least: 0,
        most: 100,
      },
      {
        path: 'settings.secondOnPaper',
        label: 'Print birth dates and own numbers on the day sheet',
        means: 'They tell people of one name apart; paper lies about.',
        kind: 'yes',
      },
    ],
  },
]

export const CLINIC_FIELDS: readonly ClinicField[] = CLINIC_GROUPS.flatMap(({ fields }) => fields)
