import type { Booking } from '../../domain/visits/booking.ts'
import type { Patient } from '../../domain/patients/patient.ts'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Message } from '../../domain/messages/message.ts'
import { mayHavePeriod } from '../../domain/preparation/cycle/no-cycle.ts'
import { prepDeadline } from '../../domain/preparation/deadline.ts'
import type { Noted, TextValues } from '../../domain/messages/texts/kinds.ts'
import type { CallScript, Step } from '../../domain/messages/voice/call-script.ts'
import { protocolOf } from '../lookups.ts'
import type { Deps } from '../ports/deps.ts'

type Worded = Pick<
  Message,
  'kind' | 'phone' | 'language' | 'channel' | 'detail' | 'visitAt' | 'choices' | 'answer' | 'confirms'
>

interface RenderContext {
  booking: Booking | null
  patient: Patient | null
  clinic: Clinic
  zone: string
}

type State = 'approved' | 'draft'

/**
 * The words of a message as it would go out now, with its call where it is one, and whether somebody has approved them.
 */
export function renderMessage(
  deps: Deps,
  message: Worded,
  around: RenderContext,
): { text: string; subject?: string; state: State; voice?: CallScript } {
  const { kind, language, channel, detail } = message
  const values = valuesOf(deps, message, around)
  const { text: said, subject, state } = deps.render({ kind, language, channel, detail, values })
  // It names the visit, and beneath it stands what a confirmation says.
  if (channel === 'email') return { text: said, subject: subject!, state }
  const confirmation = message.confirms ? confirmationBeside(deps, message, values) : null
  const text = confirmation === null ? said : `${said} ${confirmation}`
  if (channel !== 'voice' || !deps.calls) return { text, state }
  const call = deps.calls.script({ kind, language, detail, values })
  return { text, state: call.state, voice: confirmation === null ? call.script : ends(call.script, confirmation) }
}

/**
 * What the confirmation says, to follow preparation in the same message, where the clinic is named. A full call for
 * preparation says all of it by itself. A confirmation that may not go out never keeps preparation back.
 */
function confirmationBeside(deps: Deps, { language, channel, detail }: Worded, values: TextValues): string | null {
  if (channel === 'voice' && detail === 'full') return null
  // Without rules it promises no further text on how to prepare.
  const { text, state } = deps.render({
    ...{ kind: 'confirmation' as const, language, channel, detail },
    values: { ...values, avoid: [] },
  })
  if (state === 'draft' && !deps.policy.allowDrafts) return null
  const name = `${values.clinic}: `
  return text.startsWith(name) ? text.slice(name.length) : text
}

function ends(script: CallScript, said: string): CallScript {
  const { message } = script.steps
  const [first = '', ...rest] = message.say
  return { ...script, steps: { ...script.steps, message: { ...message, say: [first, said, ...rest] } } }
}

/** What is said in a call instead of texting this message. */
export function renderCall(
  { calls, ...deps }: Deps,
  message: Worded,
  around: RenderContext,
): { step: Step; state: State } | null {
  const { kind, language, detail } = message
  return calls?.answer({ kind, language, detail, values: valuesOf(deps, message, around) }) ?? null
}

/** As it is kept until it is written: `started 2026-03-17 stays`. */
export const keptNoted = ({ heard, on, stays }: Noted): string => `${heard} ${on} ${stays ? 'stays' : 'moves'}`

function readNoted(kept: string): Noted {
  const [heard, on, visit] = kept.split(' ') as [Noted['heard'], string, string]
  return { heard, on, stays: visit === 'stays' }
}

function valuesOf(
  deps: Pick<Deps, 'protocols' | 'pageOf'>,
  { kind, phone, visitAt, choices, answer }: Worded,
  { booking, patient, clinic, zone }: RenderContext,
): TextValues {
  const protocol = booking && protocolOf(deps, booking.protocol)
  const visit = visitAt ?? booking?.visitAt
  return {
    clinic: clinic.name,
    clinicPhone: clinic.phone,
    emergency: clinic.settings.emergency,
    zone,
    ...(visit && { visit }),
    ...(visit && protocol && { mark: prepDeadline(visit, protocol.prepHours) }),
    ...(protocol && { avoid: protocol.avoid.map(({ what }) => what) }),
    ...(protocol && { periods: (!patient || mayHavePeriod(patient.cycle)) && protocol.avoidDays !== null }),
    ...(choices.length > 0 && { choices }),
    ...(answer !== null && (kind === 'no-change' ? { noted: readNoted(answer) } : { answer })),
    ...(booking && { page: deps.pageOf(booking.id, phone) }),
  }
}
