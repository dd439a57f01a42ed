import { readFileSync, writeFileSync } from 'node:fs'
import { Command } from 'commander'
import { renderContactSheet } from '../adapters/http/messages/contact-sheet.ts'
import { STYLE_SHEET } from '../adapters/http/pages/style-sheet.ts'
import { loadWording, type Wording } from '../adapters/templates/load-wording.ts'
import { badInput, Failure } from '../domain/failure.ts'
import { EMERGENCY_NUMBER } from '../domain/region/clinic.ts'
import { NOTHING_APPROVED } from '../domain/messages/texts/approval.ts'
import { languageOf } from '../domain/messages/texts/render.ts'
import { surveyTexts, type SurveyRow } from '../domain/messages/texts/survey.ts'
import { approveTexts } from '../flows/messages/approved-texts.ts'
import { answersByLanguage, EXAMPLE_SITE } from './example-site.ts'
import { approvalsAtHand, withStore } from './with-store.ts'

interface Options {
  language?: string
  json?: boolean
  clinic: string
  phone: string
  emergency?: string
  page: string
  approve?: string
  on?: string
  kind?: string
  sheet?: string
}

const HELP = `
Every text is shown at its longest: the longest date, the longest answer, and the clinic given. Exit code 1 when one breaks its
budget. Approvals are kept in the site's database (DATABASE_URL, or DATA_DIR). An approval holds for the very words:
edit a text and it is a draft again.
  npx daysix texts --language fr --approve "Nurse educator, French" --on 2026-12-01`

/** `daysix texts`: every text with its cost, reading grade and state; records approvals. */
export function command(): Command {
  return new Command('texts')
    .description('Every text with encoding, segments, reading grade and state.')
    .option('--language <code>', 'only this language')
    .option('--json', 'as one JSON array')
    .option('--clinic <name>', 'the name your clinic signs with', EXAMPLE_SITE.clinic)
    .option('--phone <number>', 'the number patients call', EXAMPLE_SITE.clinicPhone)
    .option('--emergency <number>', 'what to dial in an emergency there; without it, the words that stand for it')
    .option('--page <address>', 'address of a private page', EXAMPLE_SITE.page)
    .option('--sheet <file>', 'write a page with every text of --language, for a reviewer to read or print')
    .option('--approve <role>', 'record that a reviewer with this role approves the texts of --language')
    .option('--on <date>', 'with --approve: date of the approval, YYYY-MM-DD')
    .option('--kind <kind>', 'with --approve: only this kind, e.g. prep, prep.sms, answer, page or call')
    .addHelpText('after', HELP)
    .action((options: Options) => (options.approve === undefined ? show(options) : approve(options)))
}

async function show(options: Options): Promise<void> {
  const approvals = await approvalsAtHand()
  if (!approvals) process.stderr.write('The service is running: what is approved stands on its page "Texts".\n')
  const wording = loadWording(approvals ?? NOTHING_APPROVED)
  if (options.sheet === undefined) list(options, wording, approvals !== null)
  else writeSheet(options, wording, options.sheet)
}

function survey(options: Options, { library, protocols }: Wording, only?: string): SurveyRow[] {
  const { clinic, phone: clinicPhone, page } = options
  const site = {
    clinic,
    clinicPhone,
    emergency: emergencyOf(options),
    page,
    answers: answersByLanguage(protocols.values()),
  }
  return surveyTexts(library, site, only)
}

/** The words that stand for a number are longer than any, so they are what a text costs without one. */
function emergencyOf({ emergency }: Options): string | null {
  if (emergency === undefined) return EXAMPLE_SITE.emergency
  return EMERGENCY_NUMBER.test(emergency) ? emergency : badInput('emergency', 'Give the number as two to six digits.')
}

const UNKNOWN = { state: null, approvedBy: null, approvedOn: null }

function list(options: Options, wording: Wording, statesKnown: boolean): void {
  const rows = survey(options, wording, options.language && languageOf(wording.library, options.language).code)
  const shown = statesKnown ? rows : rows.map((row) => ({ ...row, ...UNKNOWN }))
  console.log(options.json ? JSON.stringify(shown, null, 2) : table(shown))
  if (rows.some(({ overBudget }) => overBudget !== null)) process.exitCode = 1
}

/** A file of its own: the style sheet is put into it. */
function writeSheet(options: Options, wording: Wording, file: string): void {
  const language = languageOf(wording.library, options.language ?? 'en')
  const css = readFileSync(STYLE_SHEET, 'utf8')
  writeFileSync(
    file,
    renderContactSheet({
      language,
      rows: survey(options, wording),
      wording,
      emergency: emergencyOf(options),
      path: null,
      css,
    }),
  )
  console.log(`Every text in ${language.name} is in ${file}.`)
}

const RUNNING =
  'The service is running and has the database to itself: approve on the desk\'s page "Texts", or stop it first.'

/** The embedded database belongs to one process: while the service runs, its page is the way. */
async function approve(options: Options): Promise<void> {
  try {
    await record(options)
  } catch (error) {
    if (!(error instanceof Failure) || error.code !== 'data-folder-in-use') throw error
    throw new Failure(error.code, { message: RUNNING }, error)
  }
}

async function record({ language, approve: by, on, kind = '' }: Options): Promise<void> {
  if (!language) throw badInput('language', 'Say which language was reviewed: --language fr.')
  if (!on || !/^\d{4}-\d{2}-\d{2}$/.test(on)) throw badInput('on', 'Give the date of the approval: --on 2026-12-01.')
  const { reviewables } = loadWording()
  const review = { language, kind, by: by!, on }
  const count = await withStore((store) => approveTexts(store, reviewables, review, new Date()))
  console.log(`${count} texts in ${language} approved by ${by} on ${on}.`)
}

const COLUMNS = ['language', 'kind', 'text', 'encoding', 'units', 'segments', 'grade', 'state', ''] as const

function table(rows: (Omit<SurveyRow, 'state'> & { state: string | null })[]): string {
  const cells = rows.map((row) => [
    row.language,
    row.kind,
    `${row.channel} ${row.part}`,
    row.channel === 'sms' ? row.encoding : '-',
    row.channel === 'sms' ? String(row.units) : '-',
    row.channel === 'sms' ? String(row.segments) : '-',
    row.grade === null ? '-' : row.grade.toFixed(1),
    row.state ?? '-',
    row.overBudget ? `OVER BUDGET: ${row.overBudget}` : '',
  ])
  const widths = COLUMNS.map((name, column) => Math.max(name.length, ...cells.map((cell) => cell[column]!.length)))
  return [COLUMNS, ...cells]
    .map((cell) =>
      cell
        .map((value, column) => value.padEnd(widths[column]!))
        .join('  ')
        .trimEnd(),
    )
    .join('\n')
}
