import { randomUUID } from 'node:crypto'
import { createServer, type Server } from 'node:http'
import { Command } from 'commander'
import express from 'express'
import { checkGateway } from '../adapters/gateways/check-gateway.ts'
import { gatewayNamed } from '../adapters/gateways/described-folder.ts'
import { scratchMemory } from '../adapters/db/gateway-memory.ts'
import { FailureLimit } from '../adapters/http/access/failure-limit.ts'
import { webhooks } from '../adapters/http/messages/webhooks.ts'
import { baseOf, loadConfig } from '../config.ts'
import { badInput, Failure } from '../domain/failure.ts'
import { TEST_TEXT, testAddressee } from '../flows/messages/test-message.ts'
import type { Gateway } from '../flows/ports/gateway.ts'
import type { Deps } from '../flows/ports/deps.ts'

interface Options {
  to: string
  text: string
  wait: string
  gateways?: string
  listen?: string
}

export function command(): Command {
  return new Command('gateway-check')
    .description('Send one test message through a gateway, telling each step.')
    .argument('<name>', 'the gateway, as named in its description')
    .requiredOption('--to <number>', 'a phone of yours, in international form: +16135550142; for e-mail an address')
    .option('--text <text>', 'what is sent', TEST_TEXT)
    .option('--wait <seconds>', 'how long a receipt is waited for', '60')
    .option('--gateways <folder>', 'folder of descriptions; otherwise GATEWAYS_DIR')
    .option('--listen <port>', 'take callbacks here, at /gateways/NAME/…, when the service is not running')
    .action(async (name: string, options: Options) => {
      process.exitCode = await run(name, options)
    })
}

const NOT_FREE = 'this port cannot be had. Stop the service, or take another.'

/** 0: all is well. 1: the message did not get through. 2: the question cannot be used. */
async function run(name: string, options: Options): Promise<number> {
  try {
    const waitMs = wholeNumber('wait', options.wait, 0, 86_400) * 1000
    const port = options.listen === undefined ? undefined : wholeNumber('listen', options.listen, 1, 65_535)
    const gateway = await find(name, options.gateways)
    const to = testAddressee(gateway, options.to)
    const server = port === undefined ? undefined : await listen(gateway, port)
    const well = await checkGateway(gateway, {
      to,
      text: options.text,
      waitMs,
      id: randomUUID(),
      tell,
    })
    server?.closeAllConnections()
    server?.close()
    return well ? 0 : 1
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    tell('refused', error.detail.message)
    return 2
  }
}

async function find(name: string, folder: string | undefined): Promise<Gateway> {
  const config = loadConfig()
  const directory = folder ?? config.gatewaysDir
  if (directory === undefined)
    return badInput('gateways', 'Say where the descriptions are: --gateways FOLDER, or GATEWAYS_DIR.')
  return gatewayNamed(name, directory, {
    clock: { now: () => new Date() },
    random: Math.random,
    after: (ms, work) => void setTimeout(() => void work(), ms),
    secret: config.secret,
    memory: scratchMemory(),
    callbackUrl: `${baseOf(config)}/gateways`,
  })
}

/** @throws Failure `bad-input` for what is no whole number within the bounds */
function wholeNumber(option: string, given: string, least: number, most: number): number {
  const number = /^\d+$/.test(given) ? Number(given) : NaN
  if (number >= least && number <= most) return number
  return badInput(option, `--${option} ${given}: write a whole number from ${least} to ${most}.`)
}

function listen(gateway: Gateway, port: number): Promise<Server> {
  const gateways = new Map([[gateway.name, gateway]])
  const app = express().use(
    '/gateways',
    webhooks({ gateways } as Pick<Deps, 'gateways'> as Deps, new FailureLimit(() => new Date())),
  )
  return new Promise((resolve, reject) => {
    const taken = () => new Failure('bad-input', { message: `--listen ${port}: ${NOT_FREE}`, field: 'listen' })
    const server = createServer(app).once('error', () => reject(taken()))
    server.listen(port, '127.0.0.1', () => resolve(server))
  })
}

function tell(step: string, says: string): void {
  console.log(`${step.padEnd(12)} ${says}`)
}
