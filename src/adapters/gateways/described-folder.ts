import { readdir, readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { badInput, Failure } from '../../domain/failure.ts'
import type { Gateway } from '../../flows/ports/gateway.ts'
import { createGateway, nameOf, type GatewayDeps } from './create-gateway.ts'
import { yamlFault } from './read-yaml.ts'

interface DescribedFile {
  file: string
  text: string
}

/** The descriptions in a folder, by the names of their files. @throws Failure `bad-input` where it cannot be read */
export async function readFolder(folder: string): Promise<DescribedFile[]> {
  const files = await readdir(folder).catch(() =>
    badInput(
      'gateways',
      `GATEWAYS_DIR: the folder ${folder} is not there, or cannot be read. Mend the name, or its rights.`,
    ),
  )
  const described = files.filter((file) => /\.(ya?ml|json)$/.test(file)).sort()
  return Promise.all(described.map(async (file) => ({ file, text: await readFile(join(folder, file), 'utf8') })))
}

/** Makes every gateway of a folder. @throws Failure `bad-input` with the faults of all files, each by its name */
export async function gatewaysOf(folder: string, deps: GatewayDeps): Promise<Gateway[]> {
  const faults: string[] = []
  const made = (await readFolder(folder)).flatMap((one) => {
    try {
      return [makeOf(one, deps)]
    } catch (error) {
      if (!(error instanceof Failure)) throw error
      faults.push(error.detail.message)
      return []
    }
  })
  return faults.length === 0 ? made : badInput('gateways', faults.join('\n'))
}

/**
 * Makes the gateway of this name. The others of the folder are not touched, so that their faults do not hide it.
 * @throws Failure `bad-input` where there is none: then with the files in which it may stand unread
 */
export async function gatewayNamed(name: string, folder: string, deps: GatewayDeps): Promise<Gateway> {
  const all = await readFolder(folder)
  const found = all.find(({ text }) => nameOf(text) === name)
  if (found) return makeOf(found, deps)
  const broken = all.flatMap(({ file, text }) => {
    const fault = yamlFault(text)
    return fault === undefined ? [] : [`${file}${fault}`]
  })
  return badInput('name', [`No description in ${folder} has the name ${name}.`, ...broken].join('\n'))
}

function makeOf({ file, text }: DescribedFile, deps: GatewayDeps): Gateway {
  const fault = yamlFault(text)
  if (fault !== undefined) return badInput('gateway', `${file}${fault}`)
  try {
    return createGateway(text, deps)
  } catch (error) {
    if (!(error instanceof Failure)) throw error
    const lines = error.detail.message.split('\n')
    throw new Failure('bad-input', { ...error.detail, message: lines.map((line) => `${file}: ${line}`).join('\n') })
  }
}
