import { e164 } from '../e164.ts'
import type { SmppConfig } from './smpp-config.ts'

interface Address {
  address: string
  ton: number
  npi: number
}

const ALPHANUMERIC = { ton: 5, npi: 0 }
const SHORT_CODE = { ton: 3, npi: 0 }
const INTERNATIONAL = { ton: 1, npi: 1 }

/**
 * The sender with type and plan of number (SMPP 3.4 §5.2.5 and §5.2.6): a name, a short code, or E.164 without its `+`.
 */
export function sourceOf({ address, ton, npi }: SmppConfig['from']): Address {
  const usual = usualKind(address)
  return { address: address.replace(/^\+/, ''), ton: ton ?? usual.ton, npi: npi ?? usual.npi }
}

function usualKind(address: string): { ton: number; npi: number } {
  if (address === '') return { ton: 0, npi: 0 }
  if (!/^\+?\d+$/.test(address)) return ALPHANUMERIC
  return address.length <= 8 && !address.startsWith('+') ? SHORT_CODE : INTERNATIONAL
}

export function destinationOf(to: string, { ton, npi, plus }: SmppConfig['to']): Address {
  return { address: plus ? to : to.replace(/^\+/, ''), ton, npi }
}

/** The patient's number in a reply, E.164; undefined when the sender is a name or a short code. */
export function patientOf(address: string, ton: number, country: string | undefined): string | undefined {
  if (ton === ALPHANUMERIC.ton) return undefined
  return e164(address, ton === INTERNATIONAL.ton ? undefined : country)
}
