import { xml, XML_HEAD } from './xml.ts'

const PAUSE = '<break time="500ms"/>'

/** Paragraphs as they stand inside `speak` (SSML 1.1 §3.1.8.1) and inside `prompt` (VoiceXML 2.0 §4.1.1). */
export function paragraphs(say: readonly string[]): string {
  return say.map((words) => `<p>${xml(words)}</p>`).join(PAUSE)
}

/**
 * Words to be spoken, as a W3C Speech Synthesis Markup Language 1.1 document (Recommendation of 7 September 2010).
 *
 * @param locale BCP 47, required on `speak` (§3.1.2).
 */
export function ssml(say: readonly string[], locale: string): string {
  const root = `<speak version="1.1" xmlns="http://www.w3.org/2001/10/synthesis" xml:lang="${xml(locale)}">`
  return `${XML_HEAD}${root}${paragraphs(say)}</speak>\n`
}
