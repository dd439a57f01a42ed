import { words, protocolFile, type ProtocolFile } from './protocol-file.ts'
import { existsSync, readdirSync } from 'node:fs'
import { join } from 'node:path'
import * as z from 'zod'
import type { FullProtocol, Protocol } from '../../domain/preparation/protocol.ts'
import { Failure } from '../../domain/failure.ts'
import { NOTHING_APPROVED, type Approvals } from '../../domain/messages/texts/approval.ts'
import { digestOf } from './digest.ts'
import { answersOf, loadAnswers, type LanguageAnswers } from './load-answers.ts'
import { checkData, Faults, readYaml, TEMPLATES } from './files.ts'

/**
 * Reads every protocol. A file in `siteFolder/protocols` adds a protocol, or changes the one with the same id: each
 * field that it names replaces the field that came with Daysix.
 *
 * @throws Failure `bad-input` listing all faults of all files; `bad-config` where the site's folder cannot be read
 */
export function loadProtocols(
  folder: string = TEMPLATES,
  siteFolder?: string,
  approvals: Approvals = NOTHING_APPROVED,
): Map<string, FullProtocol> {
  if (siteFolder !== undefined) refuseUnreadable(siteFolder)
  const faults = new Faults(folder)
  const languages = loadAnswers(folder, faults)
  const protocols = new Map<string, FullProtocol>()
  for (const { file, checked } of readProtocols([folder, ...(siteFolder ? [siteFolder] : [])], faults)) {
    nameless(checked, languages).forEach((message) => faults.add(file, 'avoid', message))
    const ofSite = siteFolder !== undefined && file.startsWith(join(siteFolder, 'protocols'))
    protocols.set(checked.id, { ...protocolOf(checked, languages, approvals), ofSite })
  }
  faults.throwIfAny()
  return protocols
}

/** Its protocols would be missing without a word. */
function refuseUnreadable(siteFolder: string): void {
  try {
    readdirSync(join(siteFolder, 'protocols'))
  } catch (error) {
    const message = `SITE_TEMPLATES_DIR: ${siteFolder} is not there, cannot be read, or has no folder "protocols". Mend the name, or make it.`
    throw new Failure('bad-config', { field: 'SITE_TEMPLATES_DIR', message }, error)
  }
}

/**
 * When to collect by each protocol, without its answers in every language: a command that only forecasts should answer
 * as quickly as it starts.
 *
 * @throws Failure `bad-input` listing all faults of all files.
 */
export function loadTimings(folder: string = TEMPLATES): Map<string, Protocol> {
  const faults = new Faults(folder)
  const timings = readProtocols([folder], faults).map(({ checked }) => timingOf(checked))
  faults.throwIfAny()
  return new Map(timings.map((timing) => [timing.id, timing]))
}

/** A later folder's file changes the fields that it names. */
function readProtocols(folders: string[], faults: Faults): { file: string; checked: ProtocolFile }[] {
  const files = new Map<string, { file: string; raw: Record<string, unknown> }>()
  for (const file of folders.flatMap(protocolFiles)) {
    const raw = readYaml(file, z.looseObject({ id: words }), faults)
    if (raw) files.set(raw.id, { file, raw: { ...files.get(raw.id)?.raw, ...raw } })
  }
  return [...files.values()].flatMap(({ file, raw }) => {
    const checked = checkData(file, raw, protocolFile, faults)
    return checked ? [{ file, checked }] : []
  })
}

/** A rule that a language has no words for would be left out of its texts: better not to start. */
function nameless({ avoid }: ProtocolFile, languages: LanguageAnswers[]): string[] {
  return languages.flatMap(({ code, rules }) =>
    avoid
      .filter(({ what }) => !rules.includes(what))
      .map(
        ({ what }) => `Language ${code} has no words for “${what}”. Add them to \`rules\` in ${code}/language.yaml.`,
      ),
  )
}

function protocolFiles(root: string): string[] {
  const folder = join(root, 'protocols')
  if (!existsSync(folder)) return []
  return readdirSync(folder)
    .filter((name) => name.endsWith('.yaml'))
    .sort()
    .map((name) => join(folder, name))
}

function protocolOf(
  file: ProtocolFile,
  languages: LanguageAnswers[],
  approvals: Approvals,
): Omit<FullProtocol, 'ofSite'> {
  // How long a visit lasts changes nothing of what is planned for it.
  const { visit, ...planned } = file
  const { avoidDays, ideal, vial } = planned
  return {
    ...timingOf(file),
    version: file.version,
    digest: digestOf(JSON.stringify(planned)),
    reviewBy: file.reviewBy,
    visitMinutes: visit.minutes,
    names: file.names,
    sources: { ...(avoidDays && { avoidDays: avoidDays.source }), ideal: ideal.source, visit: visit.source },
    avoid: file.avoid,
    fine: file.fine,
    vial,
    deferrals: file.deferrals,
    checklist: file.checklist,
    answers: answersOf(file, languages, approvals),
  }
}

function timingOf({ id, avoid, avoidDays, ideal }: ProtocolFile): Protocol {
  return {
    id,
    prepHours: Math.max(0, ...avoid.map(({ hours }) => hours)),
    avoidDays: avoidDays && { first: avoidDays.first, last: avoidDays.last, strength: avoidDays.strength },
    idealDay: ideal.day,
    idealWindow: { first: ideal.first, last: ideal.last },
  }
}
