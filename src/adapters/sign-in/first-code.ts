import { rm, writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import { makeFolder } from '../faults/make-folder.ts'

const pathIn = (dataDir: string) => join(dataDir, 'first-administrator.txt')

export interface FirstCode {
  login: string
  code: string
}

/** Where the code may be said. */
export interface Place {
  url: string
  dataDir: string
  production: boolean
  /** Somebody sits before it. What is no terminal is kept by others: a journal, a collector of logs. */
  isTerminal: boolean
}

/**
 * How the first administrator learns the one-time code: on the terminal, or in production without one from a file that
 * only this account can read. @returns what to print
 */
export async function sayFirstCode({ login, code }: FirstCode, place: Place): Promise<string> {
  const said = (how: string) =>
    `Become the administrator: open ${place.url}/sign-in/first, one-time code ${how} (you will sign in as "${login}")\n`
  if (!place.production || place.isTerminal) return said(code)
  const path = pathIn(place.dataDir)
  // With a database elsewhere nothing else may have needed the folder yet.
  await makeFolder(place.dataDir)
  // Anew, since the mode of a file that is there already would stay as it is.
  await rm(path, { force: true })
  await writeFile(path, said(code), { flag: 'wx', mode: 0o600 })
  return said(`in the file ${path}`)
}

/** Once there is an administrator the file is worth nothing, and goes. */
export function forgetFirstCode(dataDir: string): Promise<void> {
  return rm(pathIn(dataDir), { force: true })
}
