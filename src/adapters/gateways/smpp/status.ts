import type { SendOutcome } from '../../../flows/ports/gateway.ts'
import type { SmppConfig } from './smpp-config.ts'

type Refusal = 'rejected' | 'later' | 'throttled' | 'misconfigured'

/**
 * What a command_status of SMPP 3.4 §5.1.3 means for the message. A status that is not listed, as the peer's own from
 * 0x0400 on, is tried again later: the configuration can say better.
 */
const MEANINGS: Record<Refusal, number[]> = {
  throttled: [0x14, 0x58], // queue full, throttling
  later: [0x08, 0x45, 0x64], // system error, submit failed, temporary fault of the application
  rejected: [
    0x01,
    0x0b,
    0x33,
    0x34,
    0x40,
    0x50,
    0x51, // length of the text; destination: address, count, list, flag, type, plan
    0x61,
    0x62,
    0xc0,
    0xc1,
    0xc2,
    0xc3,
    0xc4, // delivery time, expiry; optional parameters
    0xfe,
    0x65,
    0x66,
    0x104, // delivery failed, refused by the application, text coding
  ],
  misconfigured: [
    0x03,
    0x04,
    0x06,
    0x07,
    0x0a,
    0x0d,
    0x0e,
    0x0f, // command, bind state, flags, source address, bind, password, system id
    0x15,
    0x43,
    0x48,
    0x49,
    0x53,
    0x54, // service type, class, source type and plan, system type, replace flag
    0x100,
    0x101,
    0x102,
    0x103, // not authorised for the service
  ],
}

const BY_STATUS = new Map(
  Object.entries(MEANINGS).flatMap(([kind, list]) => list.map((status) => [status, kind as Refusal] as const)),
)

/** Outcome of a request that was answered with a fault. */
export function refusal(status: number, own: SmppConfig['statuses']): SendOutcome {
  const hex = status.toString(16)
  const kind = own[`0x${hex.padStart(4, '0')}`] ?? BY_STATUS.get(status) ?? 'later'
  return { kind, code: `smpp-0x${hex.padStart(2, '0')}` }
}
