import { randomUUID } from 'node:crypto'
import { readdir, readFile } from 'node:fs/promises'
import { createServer, type Server } from 'node:http'
import { join } from 'node:path'
import { Command } from 'commander'
import express from 'express'
import { checkGateway } from '../adapters/gateways/check-gateway.ts'
import { createGateway, nameOf } from '../adapters/gateways/create-gateway.ts'
import { FailureLimit } from '../adapters/http/access/failure-limit.ts'
import { webhooks } from '../adapters/http/messages/webhooks.ts'
import { loadConfig } from '../config.ts'
import { badInput, Failure } from '../domain/failure.ts'
import { TEST_TEXT, testNumber } from '../flows/messages/test-message.ts'
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
    .requiredOption('--to <number>', 'a phone of yours, in international form: +16135550142')
    .option('--text <text>', 'what is sent', TEST_TEXT)
    .option('--wait <seconds>', 'how long a receipt is waited for', '60')
    .option('--gateways <folder>', 'folder of descriptions; otherwise GATEWAYS_DIR')
    .option('--listen <port>', 'take callbacks here, at /gateways/NAME/…, when the service is not running')
    .action(async (name: string, options: Options) => {
      process.exitCode = await run(name, options)
    })
}

/** 0: all is well. 1: the message did not get through. 2: the question cannot be used. */
async function run(name: string, options: Options): Promise<number> {
  try {
    const to = testNumber(options.to)
    const gateway = await find(name, options.gateways)
    const server = options.listen === undefined ? undefined : await listen(gateway, Number(options.listen))
    const well = await checkGateway(gateway, {
      to,
      text: options.text,
      waitMs: Number(options.wait) * 1000,
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

/** Makes the gateway of this name. The others of the folder are not touched, so that their faults do not hide it. */
async function find(name: string, folder: string | undefined): Promise<Gateway> {
  const config = loadConfig()
  const directory = folder ?? config.gatewaysDir
  if (directory === undefined)
    return badInput('gateways', 'Say where the descriptions are: --gateways FOLDER, or GATEWAYS_DIR.')
  const texts = await readDescriptions(directory)
  const text = texts.find((one) => nameOf(one) === name)
  if (text === undefined) return badInput('name', `No description in ${directory} has the name ${name}.`)
  const publicUrl = config.publicUrl ?? `http://${config.host}:${config.port}`
  const random = Math.random
  const after = (ms: number, work: () => Promise<void>) => void setTimeout(() => void work(), ms)
  return createGateway(text, {
    clock: { now: () => new Date() },
    random,
    after,
    secret: config.secret,
    callbackUrl: `${publicUrl}/gateways`,
  })
}

async function readDescriptions(folder: string): Promise<string[]> {
  const files = await readdir(folder).catch(() => badInput('gateways', `The folder ${folder} cannot be read.`))
  const described = files.filter((file) => /\.(ya?ml|json)$/.test(file)).sort()
  return Promise.all(described.map((file) => readFile(join(folder, file), 'utf8')))
}

function listen(gateway: Gateway, port: number): Promise<Server> {
  const gateways = new Map([[gateway.name, gateway]])
  const app = express().use(
    '/gateways',
    webhooks({ gateways } as Pick<Deps, 'gateways'> as Deps, new FailureLimit(() => new Date())),
  )
  return new Promise((resolve, reject) => {
    const server = createServer(app).once('error', reject)
    server.listen(port, '127.0.0.1', () => resolve(server))
  })
}

function tell(step: string, says: string): void {
  console.log(`${step.padEnd(12)} ${says}`)
}
