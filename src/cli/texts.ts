import { readFileSync, writeFileSync } from 'node:fs'
import { Command } from 'commander'
import { renderContactSheet } from '../adapters/http/pages/contact-sheet.ts'
import { STYLE_SHEET } from '../adapters/http/pages/style-sheet.ts'
import { loadPageTexts } from '../adapters/templates/load-page.ts'
import { loadProtocols } from '../adapters/templates/load-protocols.ts'
import { loadTexts } from '../adapters/templates/load-texts.ts'
import { approve } from '../adapters/templates/write-approvals.ts'
import { badInput } from '../domain/failure.ts'
import type { TextLibrary } from '../domain/texts/library.ts'
import { languageOf } from '../domain/texts/render.ts'
import { surveyTexts, type SurveyRow } from '../domain/texts/survey.ts'
import { answersByLanguage, EXAMPLE_SITE } from './example-site.ts'

interface Options {
  language?: string
  json?: boolean
  clinic: string
  phone: string
  page: string
  approve?: string
  on?: string
  kind?: string
  sheet?: string
}

const HELP = `
Every text is shown at its longest: the longest date, the longest answer, and the clinic given. Exit code 1 when one breaks its
budget. An approval holds for the very words: edit a text and it is a draft again.
  npx daysix texts --language fr --approve "Nurse educator, French" --on 2026-12-01`

/** `daysix texts`: every text with its cost, reading grade and state; records approvals. */
export function command(): Command {
  return new Command('texts')
    .description('Every text with encoding, segments, reading grade and state.')
    .option('--language <code>', 'only this language')
    .option('--json', 'as one JSON array')
    .option('--clinic <name>', 'the name your clinic signs with', EXAMPLE_SITE.clinic)
    .option('--phone <number>', 'the number patients call', EXAMPLE_SITE.clinicPhone)
    .option('--page <address>', 'address of a private page', EXAMPLE_SITE.page)
    .option('--sheet <file>', 'write a page with every text of --language, for a reviewer to read or print')
    .option('--approve <role>', 'record that a reviewer with this role approves the texts of --language')
    .option('--on <date>', 'with --approve: date of the approval, YYYY-MM-DD')
    .option('--kind <kind>', 'with --approve: only this kind, e.g. prep, or answer')
    .addHelpText('after', HELP)
    .action((options: Options) => {
      if (options.approve !== undefined) return record(options)
      return options.sheet === undefined ? list(options) : writeSheet(options, options.sheet)
    })
}

function survey({ clinic, phone: clinicPhone, page }: Options, library: TextLibrary, only?: string): SurveyRow[] {
  return surveyTexts(library, { clinic, clinicPhone, page, answers: answersByLanguage(loadProtocols().values()) }, only)
}

function list(options: Options): void {
  const library = loadTexts()
  const rows = survey(options, library, options.language && languageOf(library, options.language).code)
  console.log(options.json ? JSON.stringify(rows, null, 2) : table(rows))
  if (rows.some(({ overBudget }) => overBudget !== null)) process.exitCode = 1
}

/** A file of its own: the style sheet is put into it. */
function writeSheet(options: Options, file: string): void {
  const library = loadTexts()
  const language = languageOf(library, options.language ?? 'en')
  const rows = survey(options, library)
  const sheet = {
    language,
    languages: [...library.languages.values()],
    rows,
    protocols: loadProtocols().values(),
    pages: loadPageTexts(),
    path: null,
  }
  writeFileSync(file, renderContactSheet({ ...sheet, css: readFileSync(STYLE_SHEET, 'utf8') }))
  console.log(`Every text in ${language.name} is in ${file}.`)
}

function record({ language, approve: by, on, kind }: Options): void {
  if (!language) throw badInput('language', 'Say which language was reviewed: --language fr.')
  if (!on || !/^\d{4}-\d{2}-\d{2}$/.test(on)) throw badInput('on', 'Give the date of the approval: --on 2026-12-01.')
  const count = approve(language, { by: by!, on }, kind && `${kind}.`)
  console.log(`${count} texts in ${language} approved by ${by} on ${on}.`)
}

const COLUMNS = ['language', 'kind', 'text', 'encoding', 'units', 'segments', 'grade', 'state', ''] as const

function table(rows: SurveyRow[]): string {
  const cells = rows.map((row) => [
    row.language,
    row.kind,
    `${row.channel} ${row.part}`,
    row.channel === 'sms' ? row.encoding : '-',
    row.channel === 'sms' ? String(row.units) : '-',
    row.channel === 'sms' ? String(row.segments) : '-',
    row.grade === null ? '-' : row.grade.toFixed(1),
    row.state,
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
