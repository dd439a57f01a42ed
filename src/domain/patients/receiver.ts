/** Who receives for a patient: whoever reads the messages and answers the telephone in the patient's stead. */
export const RELATIONS = ['guardian', 'proxy', 'partner', 'relative', 'carer', 'other'] as const
export type Relation = (typeof RELATIONS)[number]

/** As it is told. */
export interface ToldReceiver {
  relation: Relation
  name: string
  /** The patient agreed that the messages may name the preparation to this person. */
  fullDetail?: boolean | undefined
}

/** As it is kept. */
export interface Receiver {
  relation: Relation
  name: string
  fullDetail: boolean
  /** ISO instant since when it is this person: an earlier consent was somebody else's. */
  since: string
}

const spelled = (name: string) => name.normalize('NFKC').trim().replace(/\s+/g, ' ')

/** Who receives from now on. The same person told again goes on; only what was agreed to may change. */
export function receiverFrom(before: Receiver | null | undefined, told: ToldReceiver, now: Date): Receiver {
  const { relation, fullDetail } = told
  const name = spelled(told.name)
  const isSame = before?.relation === relation && before.name === name
  const agreed = fullDetail ?? (isSame && before.fullDetail)
  return { relation, name, fullDetail: agreed, since: isSame ? before.since : now.toISOString() }
}

/** Whether messages may name the preparation: to anybody but the patient only where that was agreed to. */
export const mayBeFull = ({ receiver }: { receiver?: Receiver | null }): boolean => !receiver || receiver.fullDetail
