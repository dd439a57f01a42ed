import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join, relative } from 'node:path'
import { fileURLToPath } from 'node:url'
import { parse } from 'yaml'
import type { z } from 'zod'
import { Failure } from '../../domain/failure.ts'

/** The templates that come with Daysix. */
export const TEMPLATES = fileURLToPath(new URL('../../../templates', import.meta.url))

export interface Fault {
  /** File, and where in it. */
  field: string
  message: string
}

/** Collects what is wrong in a folder of templates, so that a reviewer mends everything in one go. */
export class Faults {
  readonly list: Fault[] = []
  private readonly root: string

  constructor(root: string) {
    this.root = root
  }

  add(file: string, where: string, message: string): void {
    this.list.push({ field: [relative(this.root, file), where].filter(Boolean).join(' › '), message })
  }

  /** Throws one `bad-input` with every fault, if there is any. */
  throwIfAny(): void {
    if (this.list.length === 0) return
    const lines = this.list.map(({ field, message }) => `  ${field}: ${message}`)
    throw new Failure('bad-input', {
      message: `Templates have ${this.list.length} fault(s):\n${lines.join('\n')}`,
      faults: this.list,
    })
  }
}

/** Reads a YAML file by its schema; null, with faults noted, when it is missing or wrong. */
export function readYaml<S extends z.ZodType>(file: string, schema: S, faults: Faults): z.infer<S> | null {
  if (!existsSync(file)) {
    faults.add(file, '', 'This file is missing.')
    return null
  }
  try {
    return checkData(file, parse(readFileSync(file, 'utf8')), schema, faults)
  } catch (error) {
    faults.add(file, '', `This is not YAML: ${(error as Error).message.split('\n')[0]}`)
    return null
  }
}

/** Data that was read from `file`, by its schema; null, with faults noted, when it is wrong. */
export function checkData<S extends z.ZodType>(
  file: string,
  data: unknown,
  schema: S,
  faults: Faults,
): z.infer<S> | null {
  const read = schema.safeParse(data)
  if (read.success) return read.data
  for (const issue of read.error.issues) faults.add(file, issue.path.join('.'), issue.message)
  return null
}

/** Names of the folders in `folder` that hold `file`, in order. */
export function foldersWith(folder: string, file: string): string[] {
  const entries = readdirSync(folder, { withFileTypes: true })
  const names = entries
    .filter((entry) => entry.isDirectory() && existsSync(join(folder, entry.name, file)))
    .map(({ name }) => name)
  return names.sort()
}
