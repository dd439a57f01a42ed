import { USUAL_MINUTES } from '../visits/duration.ts'
import type { FullProtocol } from './protocol.ts'

/** Stands for a protocol whose file was taken away: it asks for nothing, and says nothing about any day. */
export function goneProtocol(id: string): FullProtocol {
  return {
    ...{
      id,
      version: 0,
      digest: '',
      ofSite: true,
      reviewBy: '',
      names: { en: id },
      sources: {},
      visitMinutes: USUAL_MINUTES,
    },
    ...{ prepHours: 0, avoidDays: null, idealDay: 1, idealWindow: { first: 1, last: 1 } },
    ...{ avoid: [], fine: [], vial: null, deferrals: [], checklist: [], answers: {} },
  }
}
