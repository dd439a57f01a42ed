import { INPUT_SECONDS, ROUNDS, type CallScript, type KeyAct, type Step } from './call-script.ts'
import { codeOf } from './pressed.ts'
import { paragraphs } from './ssml.ts'
import { xml, XML_HEAD } from './xml.ts'

/** Wrong keys before a call gives up. */
const MISTAKES = 4

/**
 * A whole call as a VoiceXML 2.1 document (W3C Recommendation of 19 June 2007, on top of VoiceXML 2.0). Each step is a
 * `menu` (2.0 §2.2) for keys only; an answer is submitted (§5.3.8) as `pressed`, and what comes back is the document
 * that goes on.
 *
 * @param answerUrl where answers are posted to.
 */
export function voiceXml(script: CallScript, answerUrl: string): string {
  const steps = Object.entries(script.steps).map(([name, step]) => dialog(name, step, script.notAKey, answerUrl))
  return document(script.locale, [...steps, farewell('nobody', [script.voicemail])])
}

/** What follows an answer, as a document of its own. */
export function answerXml(step: Step, { locale, notAKey, voicemail }: CallScript, answerUrl: string): string {
  if (Object.keys(step.keys).length === 0) return document(locale, [farewell('answer', step.say)])
  return document(locale, [dialog('answer', step, notAKey, answerUrl), farewell('nobody', [voicemail])])
}

/** What a machine gets: who called and the number to call back, nothing else. */
export function voicemailXml({ locale, voicemail }: CallScript): string {
  return document(locale, [farewell('voicemail', [voicemail])])
}

function document(locale: string, dialogs: string[]): string {
  return [
    `${XML_HEAD}<vxml version="2.1" xmlns="http://www.w3.org/2001/vxml" xml:lang="${xml(locale)}">`,
    // Nothing is recognised by voice, so nothing needs to be listened to or kept (§6.3.6).
    '<property name="inputmodes" value="dtmf"/>',
    `<property name="timeout" value="${INPUT_SECONDS}s"/>`,
    '<catch event="connection.disconnect"><exit/></catch>',
    '<error><exit/></error>',
    ...dialogs,
    '</vxml>\n',
  ].join('\n')
}

function dialog(name: string, step: Step, notAKey: string, answerUrl: string): string {
  const keys = Object.entries(step.keys)
  const forms = keys.flatMap(([digit, act]) =>
    'answer' in act ? [answerForm(formOf(name, digit), act, answerUrl)] : [],
  )
  return [
    `<menu id="${name}">`,
    `<prompt bargein="true">${paragraphs(step.say)}</prompt>`,
    ...keys.map(([digit, act]) => `<choice dtmf="${digit}" next="#${targetOf(name, digit, act)}"/>`),
    '<noinput><reprompt/></noinput>',
    `<noinput count="${ROUNDS}"><goto next="#nobody"/></noinput>`,
    `<nomatch><prompt>${paragraphs([notAKey])}</prompt><reprompt/></nomatch>`,
    `<nomatch count="${MISTAKES}"><goto next="#nobody"/></nomatch>`,
    '</menu>',
    ...forms,
  ].join('\n')
}

function targetOf(name: string, digit: string, act: KeyAct): string {
  return 'go' in act ? act.go : formOf(name, digit)
}

function formOf(name: string, digit: string): string {
  return `${name}-${digit}`
}

function answerForm(id: string, { answer }: Extract<KeyAct, { answer: unknown }>, answerUrl: string): string {
  const submit = `<submit next="${xml(answerUrl)}" method="post" namelist="pressed"/>`
  return `<form id="${id}"><block><var name="pressed" expr="&#39;${codeOf(answer)}&#39;"/>${submit}</block></form>`
}

function farewell(id: string, say: readonly string[]): string {
  return `<form id="${id}"><block><prompt bargein="false">${paragraphs(say)}</prompt><disconnect/></block></form>`
}
