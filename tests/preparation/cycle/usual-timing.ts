import { loadTimings } from '../../../src/adapters/templates/load-protocols.ts'

/** By the protocol that most visits have; its sources stand in templates/protocols. */
export const USUAL_TIMING = loadTimings().get('liquid-based-cytology')!
