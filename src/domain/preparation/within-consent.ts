import { dateIn } from '../local-time.ts'
import { endsBefore } from '../patients/consent.ts'
import type { CalendarDate } from './cycle/history.ts'
import type { PrepPlan } from './plan.ts'

/**
 * A plan without what falls after the last day of consent; a person tells that.
 * @param end null = it has no end
 * @param zone where the patient lives
 * @param told how to prepare: then nobody need be called
 */
export function withinConsent(plan: PrepPlan, end: CalendarDate | null, zone: string, told: boolean): PrepPlan {
  if (end === null) return plan
  const isAfter = ({ sendAt }: PrepPlan['messages'][number]) => dateIn(sendAt, zone) > end
  const first = plan.messages.find(isAfter)
  if (!first) return plan
  const messages = plan.messages.filter((each) => !isAfter(each))
  if (told) return { ...plan, messages }
  return {
    messages,
    warnings: [...plan.warnings, { code: 'consent-ends', kind: first.kind, message: endsBefore(end) }],
  }
}
