import type { Column, Row } from './rows.ts'

/** Columns of numbers that a spreadsheet may have taken for sums. */
const PHONES: readonly Column[] = ['mobile', 'phone']

/** Row and column of each number that seems to have lost its leading zero: a digit short, where the others begin so. */
export function lostZeros(rows: readonly Row[]): ReadonlySet<string> {
  return new Set(
    PHONES.flatMap((column) => {
      const told = rows.map(({ cells, number }) => ({
        number,
        digits: (cells[column] ?? '').replaceAll(/[\s()./-]/g, ''),
      }))
      const whole = new Set(told.filter(({ digits }) => /^0\d+$/.test(digits)).map(({ digits }) => digits.length))
      const short = told.filter(({ digits }) => /^[1-9]\d+$/.test(digits) && whole.has(digits.length + 1))
      return short.map(({ number }) => `${number} ${column}`)
    }),
  )
}

/** `9.02555E+09`: what was a number once. */
export const SQUEEZED = /^\d+([.,]\d+)?E\+\d+$/i
