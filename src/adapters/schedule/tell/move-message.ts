import { inZone } from '../../../domain/local-time.ts'
import type { Asking, TellBy } from '../../../domain/schedule/telling.ts'
import { encode, escape, stamp, trimmed } from '../hl7/write.ts'

type Addressed = Pick<Extract<TellBy, { by: 'mllp' }>, 'application' | 'facility'>

/**
 * SIU^S13 (HL7 2.5.1 ch. 10.3.2): an appointment of theirs is to be moved. Filler status `Pending` (table 0278): it is
 * not moved until they say so. The filler's own id, codes and patient ids are told back as they told them.
 * @param zone in which times are written, with their offset
 */
export function moveMessage(asking: Asking, to: Addressed, zone: string, production: boolean): Uint8Array {
  const { key, minutes, places, clinicians, types, patientIds, patientName } = asking
  const ei = [key.id, key.namespace].map(escape).join('^')
  const [start, end] = [asking.to, new Date(asking.to.getTime() + minutes * 60_000)].map((at) => local(at, zone))
  const segments = [
    [
      ...['MSH', '^~\\&', 'DAYSIX', '', escape(to.application), escape(to.facility), stamp(asking.madeAt), ''],
      ...['SIU^S13^SIU_S12', escape(asking.id), production ? 'P' : 'T', '2.5.1'],
    ],
    [
      ...['SCH', '', ei, escape(key.occurrence), '', '', '^Chosen by the patient', '', '', String(minutes), 'min'],
      ...[`^^^${start}^${end}`, '', '', '', '', '^Daysix', '', '', '', '^Daysix', '', '', '', '', 'Pending'],
    ],
    ['PID', '1', '', patientIds.map(cx).join('~'), '', escape(patientName)],
    ['RGS', '1', 'U'],
    ['AIS', '1', 'U', escape(types[0] ?? ''), start, '', '', String(minutes), 'min'],
    ...(places[0] === undefined ? [] : [['AIL', '1', 'U', escape(places[0])]]),
    ...(clinicians[0] === undefined ? [] : [['AIP', '1', 'U', escape(clinicians[0])]]),
  ]
  return encode(segments.map((fields) => trimmed(fields.join('|'))))
}

const cx = ({ value, authority, type }: Asking['patientIds'][number]) =>
  `${escape(value)}^^^${escape(authority)}^${escape(type)}`

const local = (at: Date, zone: string) => inZone(at, zone).toFormat('yyyyMMddHHmmssZZZ')
