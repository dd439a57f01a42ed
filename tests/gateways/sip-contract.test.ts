import { describe } from 'vitest'
import { createSipGateway } from '../../src/adapters/gateways/sip/sip-gateway.ts'
import { gatewayContract } from './contract.ts'
import { FATES } from './fates.ts'
import { HANG_UP, INVITE, note, pause, Phone, PICK_UP, press, refuse, RING, sippPresent } from './peers/sipp.ts'
import { recordingEars } from './recording-ears.ts'

const MEDIA_PORT = 31_400

/** One phone for all numbers; the number called decides what happens. */
const goTo = (number: string, to: string) =>
  [
    '<nop><action>',
    `<strcmp assign_to="same" variable="number" value="${number.slice(1)}"/>`,
    '<test assign_to="is" variable="same" compare="equal" value="0"/>',
    '</action></nop>',
    `<nop test="is" next="${to}"/>`,
  ].join('\n')
const label = (name: string) => `<label id="${name}"/>`
const END = '<nop next="9"/>'

const SCENARIO = [
  INVITE,
  goTo(FATES.reject, '1'),
  goTo(FATES.later, '2'),
  goTo(FATES.throttle, '3'),
  goTo(FATES.undelivered, '4'),
  goTo(FATES.slow, '5'),
  '<nop next="6"/>',
  ...[label('1'), refuse('404 Not Found'), END],
  ...[label('2'), refuse('486 Busy Here'), END],
  ...[label('3'), refuse('503 Service Unavailable'), END],
  ...[label('4'), PICK_UP, pause(400), HANG_UP, END],
  ...[label('5'), RING, pause(300)],
  // The message is the patient's (1), and the patient will be there (1); the first key says that a person listens.
  ...[
    label('6'),
    PICK_UP,
    pause(300),
    press('1'),
    pause(1200),
    press('1'),
    pause(1200),
    press('1'),
    pause(700),
    HANG_UP,
  ],
  label('9'),
  note('over'),
]

describe.skipIf(!sippPresent())('calls to SIPp', () => {
  gatewayContract(
    'sip',
    async () => {
      const phone = await Phone.start(SCENARIO, MEDIA_PORT)
      const described = {
        kind: 'sip',
        name: 'calls',
        trunk: { host: '127.0.0.1', port: phone.port },
        user: 'clinic',
        localAddress: '127.0.0.1',
        allow: ['+1613'],
        rtpPorts: { from: 31_500, to: 31_539 },
        lines: 10,
      }
      const gateway = createSipGateway(described, { clock: { now: () => new Date() }, secret: () => undefined })
      const ears = recordingEars()
      await gateway.start(ears)
      return {
        gateway,
        ears,
        taken: async (number) => (await phone.notes()).filter((line) => line === `taken ${number.slice(1)}`),
        close: async () => {
          await gateway.stop()
          await phone.close()
        },
      }
    },
    {
      voice: true,
      counted: true,
      cannot: {
        twice: 'the end of a call is told by ourselves, once',
        noReceipt: 'the same',
        earlyReceipt: 'the same: a call ends after it was answered',
        drop: 'a call that was not answered was certainly not heard',
        silent: 'the same: it rings until we take it back',
      },
    },
  )
})
