import type { Patient } from '../patients/patient.ts'
import type { Reach } from '../patients/reach.ts'
import { mayBeFull } from '../patients/receiver.ts'

type Reached = Pick<Patient, 'reach' | 'receiver'>

const WAY: Record<Reach, string | null> = {
  both: null,
  'calls-only': 'A landline: it takes calls only.',
  'texts-only': 'The patient does not hear a call: write, or reach the patient another way.',
  neither: 'A landline, and the patient does not hear a call: reach the patient another way.',
}

/** Whom somebody who calls will have on the line, and which way reaches the patient; null = the patient, by any way. */
export function onTheLine(patient: Reached): string | null {
  const words = [receiverWords(patient), WAY[patient.reach ?? 'both']].filter((each) => each !== null)
  return words.length === 0 ? null : words.join(' ')
}

function receiverWords({ receiver }: Reached): string | null {
  if (!receiver) return null
  const who = `On the line: ${receiver.name} (${receiver.relation}), not the patient.`
  return mayBeFull({ receiver }) ? who : `${who} Name neither test nor reason.`
}
