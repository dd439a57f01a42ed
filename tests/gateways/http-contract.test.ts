import { createHttpGateway } from '../../src/adapters/gateways/http/http-gateway.ts'
import { gatewayContract } from './contract.ts'
import { providerConfig, TestProvider } from './peers/test-provider.ts'
import { recordingEars } from './recording-ears.ts'
import { Webhook } from './webhook.ts'

gatewayContract('http', async () => {
  const provider = new TestProvider()
  const port = await provider.listen()
  const gateway = createHttpGateway(providerConfig(port), { clock: { now: () => new Date() }, secret: () => 'shared' })
  const webhook = await Webhook.for(() => gateway)
  provider.hooks = webhook.url
  const ears = recordingEars()
  await gateway.start(ears)
  return {
    gateway,
    ears,
    taken: async (number) => provider.taken.filter((order) => order.to === number).map((order) => order.text),
    say: (text) => provider.say(text),
    close: async () => {
      await gateway.stop()
      await webhook.close()
      await provider.close()
    },
  }
})
