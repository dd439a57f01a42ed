import { reportOf, type CallReport } from './call-report.ts'
import { INPUT_SECONDS, ROUNDS, type CallScript, type KeyAct, type Step } from './call-script.ts'
import { codeOf } from './pressed.ts'
import { paragraphs } from './ssml.ts'
import { xml, XML_HEAD } from './xml.ts'

/** Wrong keys before a call gives up. */
const MISTAKES = 4
/** A message that was said so long ago, and no key came while it was, was said to its end. */
const END_MS = 500

/**
 * A whole call as a VoiceXML 2.1 document (W3C Recommendation of 19 June 2007, on top of VoiceXML 2.0). Each step is a
 * `menu` (2.0 §2.2) for keys only; an answer is submitted (§5.3.8) as `pressed`, and what comes back is the document
 * that goes on. What becomes of the call is submitted too, as `happened`: when the message was said to its end, and
 * when the line is closed (in the final processing state, §1.5.4).
 *
 * @param answerUrl where answers and reports are posted to.
 */
export function voiceXml(script: CallScript, answerUrl: string): string {
  const pen = new Pen(script, answerUrl)
  const end = { waitMs: END_MS, unanswered: 'heard' }
  const steps = Object.entries(script.steps).map(([name, step]) =>
    pen.dialog(name, step, name === 'message' ? end : {}),
  )
  return pen.document([...steps, pen.report('heard', 'heard'), pen.nobody()])
}

/** What follows when the message was said to its end: a key is waited for, and it is said once more. */
export function heardXml(script: CallScript, answerUrl: string): string {
  const { message, started } = script.steps
  const pen = new Pen(script, answerUrl, null)
  const silent = pen.dialog('waiting', { ...message, say: [] }, { unanswered: 'message' }, 'message')
  const steps = [pen.dialog('message', message, { unanswered: 'nobody' })]
  if (started) steps.push(pen.dialog('started', started))
  return pen.document([silent, ...steps, pen.nobody()])
}

/** What follows an answer, as a document of its own. */
export function answerXml(step: Step, script: CallScript, answerUrl: string): string {
  const pen = new Pen(script, answerUrl, null)
  if (Object.keys(step.keys).length === 0) return pen.document([pen.farewell('answer', step.say)])
  return pen.document([pen.dialog('answer', step), pen.nobody()])
}

/** What a machine gets: who called and the number to call back, nothing else. */
export function voicemailXml(script: CallScript, answerUrl: string): string {
  const pen = new Pen(script, answerUrl, 'machine')
  return pen.document([pen.farewell('voicemail', [script.voicemail])])
}

/** After a report of a call that is over. */
export function overXml({ locale }: CallScript): string {
  const nothing = '<form id="over"><block><exit/></block></form>'
  return `${XML_HEAD}<vxml version="2.1" xmlns="http://www.w3.org/2001/vxml" xml:lang="${xml(locale)}">${nothing}</vxml>\n`
}

/** Where a menu goes on when nobody presses a key. */
interface Silence {
  waitMs?: number
  /** Goes on there at once; otherwise the menu is said again first. */
  unanswered?: string
}

class Pen {
  readonly #script: CallScript
  readonly #answerUrl: string
  readonly #report: CallReport | null

  /** @param report what is told when the line is closed, until something else happens; null: all is told. */
  constructor(script: CallScript, answerUrl: string, report: CallReport | null = 'hang-up') {
    this.#script = script
    this.#answerUrl = answerUrl
    this.#report = report
  }

  document(dialogs: string[]): string {
    return [
      `${XML_HEAD}<vxml version="2.1" xmlns="http://www.w3.org/2001/vxml" xml:lang="${xml(this.#script.locale)}">`,
      // Nothing is recognised by voice, so nothing needs to be listened to or kept (§6.3.6).
      '<property name="inputmodes" value="dtmf"/>',
      `<property name="timeout" value="${INPUT_SECONDS}s"/>`,
      `<var name="happened" expr="${quoted(this.#report ?? '')}"/>`,
      `<catch event="connection.disconnect">${this.#report ? this.#submit('happened') : '<exit/>'}</catch>`,
      '<error><exit/></error>',
      ...dialogs,
      '</vxml>\n',
    ].join('\n')
  }

  /** @param step whose forms are meant, where another menu has the same keys. */
  dialog(name: string, { say, keys }: Step, { waitMs, unanswered }: Silence = {}, step = name): string {
    const forms = Object.entries(keys).flatMap(([digit, act]) =>
      'answer' in act && step === name ? [this.#answerForm(step, digit, act)] : [],
    )
    const choices = Object.entries(keys).map(
      ([digit, act]) => `<choice dtmf="${digit}" next="#${'go' in act ? act.go : formOf(step, digit)}"/>`,
    )
    const patience = waitMs === undefined ? '' : ` timeout="${waitMs}ms"`
    const silence = `<goto next="#${unanswered ?? 'nobody'}"/>`
    return [
      `<menu id="${name}">`,
      `<prompt bargein="true"${patience}>${paragraphs(say)}</prompt>`,
      ...choices,
      ...(unanswered ? [`<noinput>${silence}</noinput>`] : ['<noinput><reprompt/></noinput>']),
      ...(unanswered ? [] : [`<noinput count="${ROUNDS}">${silence}</noinput>`]),
      `<nomatch><prompt${patience}>${paragraphs([this.#script.notAKey])}</prompt><reprompt/></nomatch>`,
      `<nomatch count="${MISTAKES}"><goto next="#nobody"/></nomatch>`,
      '</menu>',
      ...forms,
    ].join('\n')
  }

  /** Tells it, and goes on with what comes back. */
  report(id: string, report: CallReport): string {
    return form(id, `${assign(report)}${this.#submit('happened')}`)
  }

  nobody(): string {
    return this.farewell('nobody', [this.#script.voicemail], 'no-input')
  }

  /** The end of a call; its report is told when the line is closed. */
  farewell(id: string, say: readonly string[], report?: CallReport): string {
    return form(id, `${report ? assign(report) : ''}<prompt bargein="false">${paragraphs(say)}</prompt><disconnect/>`)
  }

  #answerForm(step: string, digit: string, act: Extract<KeyAct, { answer: unknown }>): string {
    const pressed = `<var name="pressed" expr="${quoted(codeOf(act.answer))}"/>`
    return form(formOf(step, digit), `${pressed}${assign(reportOf(step, act))}${this.#submit('pressed happened')}`)
  }

  #submit(names: string): string {
    return `<submit next="${xml(this.#answerUrl)}" method="post" namelist="${names}"/>`
  }
}

function formOf(step: string, digit: string): string {
  return `${step}-${digit}`
}

function form(id: string, content: string): string {
  return `<form id="${id}"><block>${content}</block></form>`
}

function assign(report: CallReport): string {
  return `<assign name="happened" expr="${quoted(report)}"/>`
}

function quoted(word: string): string {
  return xml(`'${word}'`)
}
