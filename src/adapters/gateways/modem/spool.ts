import { readFile, readdir, rename, stat, unlink, writeFile } from 'node:fs/promises'
import { join } from 'node:path'

/**
 * The folders of a modem's daemon, as the FILES service of gammu-smsd has them (its manual, "Files backend"): a text is
 * sent by putting a file into one of them, and heard by finding one in another. Texts are UTF-16BE with a byte order
 * mark (the setting `unicode`).
 */

/** `OUT`, priority, date_time_serial_number_note: sent in the order of the names. */
export function outName(id: string, to: string, at: Date): string {
  const stamp = at.toISOString().slice(0, 19).replaceAll(/[-:]/g, '').replace('T', '_')
  return `OUTC${stamp}_00_${to}_${id}.txt`
}

const MARK = '\ufeff'

const toFile = (text: string) => Buffer.from(MARK + text, 'utf16le').swap16()

function fromFile(bytes: Buffer): string {
  const whole = bytes.subarray(0, bytes.length - (bytes.length % 2))
  const isMarked = whole[0] === 0xfe && whole[1] === 0xff
  const text = isMarked ? Buffer.from(whole).swap16().toString('utf16le').slice(1) : bytes.toString('utf8')
  // The daemon ends a text with a zero; behind it stands what is left of an earlier one, where there were emoji.
  return text.split('\0', 1)[0]!
}

/** There at once and whole, or not at all: the daemon looks for names that begin with `OUT`. */
export async function put(folder: string, name: string, text: string): Promise<void> {
  const aside = join(folder, `.${name}`)
  await writeFile(aside, toFile(text), { mode: 0o600 })
  await rename(aside, join(folder, name))
}

/** @returns false when the daemon has it already */
export async function takeBack(folder: string, name: string): Promise<boolean> {
  return unlink(join(folder, name)).then(
    () => true,
    () => false,
  )
}

export async function isThere(folder: string, name: string): Promise<boolean> {
  return stat(join(folder, name)).then(
    () => true,
    () => false,
  )
}

/** What is sent, or failed, is looked for and removed: the words of patients' texts shall not lie about. */
export const clear = (folder: string, name: string): Promise<void> => unlink(join(folder, name)).catch(() => undefined)

export interface HeardText {
  /** The same however often it is read. */
  key: string
  from: string
  text: string
  at: Date
  files: string[]
}

/** `IN`, date_time_serial_number_part; the parts of a long text differ in the last. */
const IN = /^(IN\d{8}_\d{6}_\d+_(.+))_(\d+)\.txt$/
/** The parts of a text are written one after the other: it is whole once none was added for so long. */
const WHOLE_AFTER_MS = 2_000

/** Texts that have come in whole, oldest first. */
export async function heardIn(folder: string, now: Date): Promise<HeardText[]> {
  const parts = new Map<string, Part[]>()
  for (const name of await readdir(folder)) {
    const [, key, from, part] = IN.exec(name) ?? []
    if (key === undefined) continue
    parts.set(key, [...(parts.get(key) ?? []), { name, from: from!, part: Number(part) }])
  }
  const texts = await Promise.all([...parts].map(([key, files]) => wholeText(folder, key, files, now)))
  return texts.filter((text) => text !== null).sort((a, b) => a.at.getTime() - b.at.getTime())
}

interface Part {
  name: string
  from: string
  part: number
}

async function wholeText(folder: string, key: string, parts: Part[], now: Date): Promise<HeardText | null> {
  const inOrder = parts.sort((a, b) => a.part - b.part)
  const times = await Promise.all(inOrder.map(async ({ name }) => (await stat(join(folder, name))).mtime))
  const at = new Date(Math.max(...times.map((time) => time.getTime())))
  if (now.getTime() - at.getTime() < WHOLE_AFTER_MS) return null
  const texts = await Promise.all(inOrder.map(async ({ name }) => fromFile(await readFile(join(folder, name)))))
  return { key, from: inOrder[0]!.from, text: texts.join(''), at, files: inOrder.map(({ name }) => name) }
}
