import { createVoiceHttpGateway } from '../../src/adapters/gateways/voice-http/voice-http-gateway.ts'
import type { CallScript } from '../../src/domain/messages/voice/call-script.ts'
import type { Receipt } from '../../src/flows/ports/gateway.ts'
import { gatewayContract } from './contract.ts'
import { platformConfig, TestPlatform } from './peers/test-platform.ts'
import { recordingEars } from './recording-ears.ts'
import { Webhook } from './webhook.ts'

gatewayContract(
  'voice-http',
  async () => {
    const platform = new TestPlatform()
    const port = await platform.listen()
    const webhook = await Webhook.for(() => gateway)
    platform.hooks = webhook.url
    const deps = { clock: { now: () => new Date() }, secret: () => 'shared', callbackUrl: webhook.url }
    const gateway = createVoiceHttpGateway(platformConfig(port), deps)
    const ears = recordingEars()
    // What the service keeps of messages under way.
    const scripts = new Map<string, CallScript>()
    // A call that has told what was heard has an end too, which tells nothing: see voice-http.test.ts.
    const receipt = async (one: Receipt) => (one.code === 'not-told' ? undefined : ears.receipt(one))
    await gateway.start({ ...ears, receipt, script: async (id) => scripts.get(id) ?? null })
    const { name, channels, onUnknown } = gateway
    return {
      gateway: {
        ...{ name, channels, onUnknown },
        start: (own) => gateway.start(own),
        stop: () => gateway.stop(),
        send: (message) => {
          if (message.voice) scripts.set(message.id, message.voice)
          return gateway.send(message)
        },
      },
      ears,
      taken: async (number) => platform.taken.filter(({ to }) => to === number).map(({ text }) => text),
      close: async () => {
        await gateway.stop()
        await webhook.close()
        await platform.close()
      },
    }
  },
  { voice: true, cannot: { twice: 'what was heard is told by the call itself, once' } },
)
