import { existsSync, readdirSync } from 'node:fs'
import { join } from 'node:path'
import * as z from 'zod'
import type { FullProtocol } from '../../domain/preparation/protocol.ts'
import { NOTHING_APPROVED, type Approvals } from '../../domain/messages/texts/approval.ts'
import { digestOf } from './digest.ts'
import { answersOf, loadAnswers, type LanguageAnswers } from './load-answers.ts'
import { checkData, Faults, readYaml, TEMPLATES } from './files.ts'

const words = z.string().min(1)
const cycleDays = { first: z.int().min(1).max(45), last: z.int().min(1).max(45), source: words }
const inOrder = ({ first, last }: { first: number; last: number }): boolean => first <= last
const NEVER_AVOIDED = 'Patients are never told to stop prescribed medicine. List it as fine.'

const protocolFile = z.strictObject({
  id: z.string().regex(/^[a-z0-9]+(-[a-z0-9]+)*$/, 'Use lower-case letters, digits and hyphens.'),
  version: z.int().min(1),
  reviewBy: z.iso.date(),
  names: z.intersection(z.object({ en: words }), z.record(z.string(), words)),
  avoid: z.array(
    z.strictObject({
      what: words.refine((what) => what !== 'prescribed-medicine', NEVER_AVOIDED),
      hours: z.number().min(1).max(336),
      source: words,
    }),
  ),
  fine: z.array(words),
  avoidDays: z.strictObject(cycleDays).refine(inOrder, 'The first day comes before the last.').nullable(),
  ideal: z
    .strictObject({ day: z.int().min(1).max(45), ...cycleDays })
    .refine(({ day, first, last }) => first <= day && day <= last, 'The ideal day lies between the first and the last day.'),
  vial: z.strictObject({ medium: words.optional(), keepsDays: z.int().min(1), source: words }).nullable(),
  deferrals: z.array(
    z.strictObject({ after: words, days: z.int().min(1).nullable(), source: words, conflicts: z.array(words).default([]) }),
  ),
  checklist: z.array(z.strictObject({ id: words, text: words, source: words })),
  /** The site's own answers by topic and language; null = a person answers. */
  answers: z
    .record(z.string(), z.record(z.string(), z.strictObject({ sentence: words, by: words, on: z.iso.date() })).nullable())
    .default({}),
})
export type ProtocolFile = z.infer<typeof protocolFile>

/**
 * Reads every protocol. A file in `siteFolder/protocols` adds a protocol, or changes the one with the same id: each field
 * that it names replaces the field that came with Daysix.
 *
 * @throws Failure `bad-input` listing all faults of all files.
 */
export function loadProtocols(
  folder: string = TEMPLATES,
  siteFolder?: string,
  approvals: Approvals = NOTHING_APPROVED,
): Map<string, FullProtocol> {
  const faults = new Faults(folder)
  const languages = loadAnswers(folder, faults)
  const files = new Map<string, { file: string; raw: Record<string, unknown> }>()
  for (const file of [folder, ...(siteFolder ? [siteFolder] : [])].flatMap(protocolFiles)) {
    const raw = readYaml(file, z.looseObject({ id: words }), faults)
    if (raw) files.set(raw.id, { file, raw: { ...files.get(raw.id)?.raw, ...raw } })
  }
  const protocols = new Map<string, FullProtocol>()
  for (const { file, raw } of files.values()) {
    const checked = checkData(file, raw, protocolFile, faults)
    if (!checked) continue
    nameless(checked, languages).forEach((message) => faults.add(file, 'avoid', message))
    protocols.set(checked.id, protocolOf(checked, languages, approvals))
  }
  faults.throwIfAny()
  return protocols
}

/** A rule that a language has no words for would be left out of its texts: better not to start. */
function nameless({ avoid }: ProtocolFile, languages: LanguageAnswers[]): string[] {
  return languages.flatMap(({ code, rules }) =>
    avoid
      .filter(({ what }) => !rules.includes(what))
      .map(({ what }) => `Language ${code} has no words for “${what}”. Add them to \`rules\` in ${code}/language.yaml.`),
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

function protocolOf(file: ProtocolFile, languages: LanguageAnswers[], approvals: Approvals): FullProtocol {
  const { avoidDays, ideal, vial } = file
  return {
    id: file.id,
    version: file.version,
    digest: digestOf(JSON.stringify(file)),
    reviewBy: file.reviewBy,
    names: file.names,
    prepHours: Math.max(0, ...file.avoid.map(({ hours }) => hours)),
    avoidDays: avoidDays && { first: avoidDays.first, last: avoidDays.last },
    idealDay: ideal.day,
    idealWindow: { first: ideal.first, last: ideal.last },
    sources: { ...(avoidDays && { avoidDays: avoidDays.source }), ideal: ideal.source },
    avoid: file.avoid,
    fine: file.fine,
    vial,
    deferrals: file.deferrals,
    checklist: file.checklist,
    answers: answersOf(file, languages, approvals),
  }
}
