import { readFileSync } from 'node:fs'
import { Html, html } from '../pages/html.ts'
import type { ClinicPrint } from './print-data.ts'
import { printDocument } from './print-document.ts'

/** The style of the paper. Read once, at the start. */
export const PRINT_STYLE = readFileSync(new URL('./prints.css', import.meta.url), 'utf8')

/** As it is shown by the service. */
export const printedPage = (print: ClinicPrint): Html =>
  printDocument(print, html`<link rel="stylesheet" href="/desk/assets/prints.css">`)

/** As a file that needs nothing else, and no service that runs. */
export const printedFile = (print: ClinicPrint): string =>
  printDocument(print, new Html(`<style>\n${PRINT_STYLE}</style>`)).text
