import { measureSms } from '../../../domain/messages/texts/sms.ts'
import type { TextKind } from '../../../domain/messages/texts/kinds.ts'
import { atClock, nextAllowed } from '../../../domain/preparation/sending-hours.ts'
import { inZone, otherDay } from '../../../domain/local-time.ts'
import type { Clinic } from '../../../domain/region/clinic.ts'
import { typedClock } from '../desk/when.ts'
import { html, type Html } from '../pages/html.ts'
import type { SettingsContext } from './settings-context.ts'

const PREP_HOURS = 48
const HOUR_MS = 3_600_000
/** The visit of the example is so many days from now, so that all of it lies ahead. */
const DAYS_AHEAD = 10

const SAMPLES: readonly [kind: TextKind, says: string][] = [
  ['confirmation', 'When a visit is booked'],
  ['prep', 'How to prepare, before the 48 hours begin'],
  ['alarm', 'When somebody writes what may be an emergency'],
]

/** What these settings make of a clinic: its hours in words, and its texts as patients get them. */
export function clinicPreview(sheet: SettingsContext, clinic: Clinic): Html {
  return html`<section aria-labelledby="preview-h" class="preview"><h2 id="preview-h">What this makes of it</h2>
<p>${hoursWords(sheet, clinic)}</p>
<ul class="texts">${SAMPLES.map(([kind, says]) => sample(sheet, clinic, kind, says))}</ul></section>`
}

/** "Monday to Friday 09:00 to 20:00 … A text due on a Monday at 02:00 goes at 09:00." */
function hoursWords({ now }: SettingsContext, { zone, settings: { hours } }: Clinic): string {
  const { weekdays, weekend } = hours
  const monday = otherDay(inZone(now, zone), 8 - inZone(now, zone).weekday)
  const goes = (at: string) => typedClock(nextAllowed(atClock(monday, at).toJSDate(), zone, hours), zone)
  return (
    `Messages go out Monday to Friday ${weekdays.from} to ${weekdays.to}, Saturday and Sunday ${weekend.from} to ` +
    `${weekend.to}, by the clock in ${zone.replaceAll('_', ' ')}. A text due on a Monday at 02:00 goes at ` +
    `${goes('02:00')}; one due at 23:00 goes the next day at ${goes('23:00')}. How to prepare never goes late: it goes before instead.`
  )
}

function sample({ deps, now }: SettingsContext, clinic: Clinic, kind: TextKind, says: string): Html {
  const { zone } = clinic
  const visit = atClock(otherDay(inZone(now, zone), DAYS_AHEAD), '10:30').toJSDate()
  const { text } = deps.render({
    kind,
    language: 'en',
    channel: 'sms',
    detail: 'full',
    values: {
      clinic: clinic.name,
      clinicPhone: clinic.phone,
      emergency: clinic.settings.emergency,
      zone,
      visit,
      mark: new Date(visit.getTime() - PREP_HOURS * HOUR_MS),
    },
  })
  // The mark of a draft is not part of what is sent.
  const { segments } = measureSms(text.replace(/^\[draft\] /, ''))
  return html`<li><b>${says}</b> <small>${segments === 1 ? 'one message' : html`<b class="act">${segments} messages</b>`}</small>
<q>${text}</q></li>
`
}
