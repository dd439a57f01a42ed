import { readdir, rm, stat } from 'node:fs/promises'
import { join } from 'node:path'
import type { Clinic } from '../../domain/region/clinic.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import { makeFolder } from '../faults/make-folder.ts'
import { writeWhole } from '../whole-file.ts'
import { printOf } from '../http/prints/print-data.ts'
import { printedFile } from '../http/prints/print-file.ts'

/** By day and by night: no clinic's hours have to be known, and its day never ends without. */
const EVERY_MS = 3_600_000
const KEPT = 2

/**
 * Writes each clinic's paper for a day into a folder, where the newest there is an hour old. Each file comes whole or
 * not at all, for the service's own account only; the newest two of a clinic are kept.
 * @throws the first fault, after every clinic had its turn
 */
export async function writePrints(deps: Deps, folder: string): Promise<void> {
  await makeFolder(folder)
  const faults: unknown[] = []
  for (const clinic of await deps.store.read.clinics.list())
    await writeDue(deps, folder, clinic).catch((error: unknown) => faults.push(error))
  if (faults.length > 0) throw faults[0]
}

async function writeDue(deps: Deps, folder: string, clinic: Clinic): Promise<void> {
  const now = deps.clock.now()
  const before = await writtenOf(folder, clinic.id)
  if (before[0] !== undefined && Math.abs(now.getTime() - before[0].at) < EVERY_MS) return
  const print = await printOf(deps, clinic, 'the service, by itself')
  await record(deps, print.now, clinic.id)
  await clearLeft(folder)
  const file = join(folder, nameOf(clinic.id, print.now))
  await writeWhole(file, printedFile(print), `${file}.${deps.worker.id}.part`)
  for (const { name } of (await writtenOf(folder, clinic.id)).slice(KEPT)) await rm(join(folder, name), { force: true })
}

/** Nobody has seen it yet: who reads the folder is for the site to watch. */
function record({ access }: Deps, at: Date, clinicId: string): Promise<unknown> {
  const entry = { actorKind: 'service', actorId: 'worker', what: 'paper-written', subjects: [], facts: {} }
  return access.transact((tx) => tx.audit.append([{ ...entry, at, clinicId }]))
}

const nameOf = (clinicId: string, at: Date) =>
  `${encodeURIComponent(clinicId)}.${at.toISOString().slice(0, 19).replaceAll(':', '-')}Z.html`

/** What is there of one clinic, newest first. */
async function writtenOf(folder: string, clinicId: string): Promise<{ name: string; at: number }[]> {
  const start = `${encodeURIComponent(clinicId)}.`
  return (await readdir(folder))
    .filter((name) => name.startsWith(start))
    .flatMap((name) => {
      const [, day, clock] = /^(\d{4}-\d\d-\d\d)T(\d\d-\d\d-\d\d)Z\.html$/.exec(name.slice(start.length)) ?? []
      return day && clock ? [{ name, at: Date.parse(`${day}T${clock.replaceAll('-', ':')}Z`) }] : []
    })
    .sort((a, b) => b.at - a.at)
}

/** What a crash left goes, once nobody can be writing it. */
async function clearLeft(folder: string): Promise<void> {
  for (const left of (await readdir(folder)).filter((each) => each.endsWith('.part')))
    if ((await ageOf(join(folder, left))) > EVERY_MS) await rm(join(folder, left), { force: true })
}

/** By the clock of the machine, which dates files. One that is gone already is of no age. */
const ageOf = (path: string) =>
  stat(path).then(
    ({ mtimeMs }) => Date.now() - mtimeMs,
    () => 0,
  )
