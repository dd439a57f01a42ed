import { freshDatabase, serverAddress } from '../harness/servers.ts'
import { TestWorld } from '../harness/world.ts'

export interface OpenedWorld {
  world: TestWorld
  close(): Promise<void>
}

/** Every database that Daysix runs on. The same tests hold for each. */
export const STORES: { name: string; open(start: string): Promise<OpenedWorld> }[] = [
  {
    name: 'the embedded database',
    open: async (start) => {
      const world = await TestWorld.create(start)
      return { world, close: () => world.close() }
    },
  },
]

const server = serverAddress('TEST_DATABASE_URL')
if (server) {
  STORES.push({
    name: 'PostgreSQL',
    open: async (start) => {
      const { url, drop } = await freshDatabase(server)
      const world = await TestWorld.create(start, url)
      const close = async () => {
        await world.close()
        await drop()
      }
      return { world, close }
    },
  })
}
