/**
 * What may stand inside the elements that calls use, and which attributes, from the W3C Recommendations: VoiceXML 2.0
 * (16 March 2004) by section, unchanged in VoiceXML 2.1 (19 June 2007) but for the version; SSML 1.1 (7 September
 * 2010).
 * `text`: character data may stand there.
 */
export interface Model {
  inside: readonly string[]
  attributes: readonly string[]
  must?: readonly string[]
}

/** "Executable content", VoiceXML 2.0 §5.3, as far as it is used. */
const EXECUTABLE = ['var', 'assign', 'prompt', 'reprompt', 'goto', 'submit', 'exit', 'disconnect', 'text']
const SPEECH = ['p', 's', 'break', 'text']

export const VOICE_XML: Record<string, Model> = {
  vxml: {
    inside: ['property', 'catch', 'error', 'form', 'menu', 'var'],
    attributes: ['version', 'xmlns', 'xml:lang'],
    must: ['version', 'xmlns'], // §1.5.1
  },
  menu: { inside: ['prompt', 'choice', 'noinput', 'nomatch', 'property', 'text'], attributes: ['id', 'dtmf'] }, // §2.2
  choice: { inside: ['text', 'grammar'], attributes: ['dtmf', 'next'], must: ['next'] }, // §2.2.2
  form: { inside: ['block', 'field', 'var', 'catch'], attributes: ['id'] }, // §2.1
  block: { inside: EXECUTABLE, attributes: [] }, // §2.3.2
  prompt: { inside: SPEECH, attributes: ['bargein', 'count', 'timeout'] }, // §4.1
  noinput: { inside: EXECUTABLE, attributes: ['count'] }, // §5.2.3
  nomatch: { inside: EXECUTABLE, attributes: ['count'] }, // §5.2.3
  error: { inside: EXECUTABLE, attributes: ['count'] }, // §5.2.3
  catch: { inside: EXECUTABLE, attributes: ['event', 'count'], must: ['event'] }, // §5.2.2
  var: { inside: [], attributes: ['name', 'expr'], must: ['name'] }, // §5.3.1
  assign: { inside: [], attributes: ['name', 'expr'], must: ['name', 'expr'] }, // §5.3.2
  reprompt: { inside: [], attributes: [] }, // §5.3.6
  goto: { inside: [], attributes: ['next'], must: ['next'] }, // §5.3.7
  submit: { inside: [], attributes: ['next', 'namelist', 'method'], must: ['next'] }, // §5.3.8
  exit: { inside: [], attributes: [] }, // §5.3.9
  disconnect: { inside: [], attributes: [] }, // §5.3.11
  property: { inside: [], attributes: ['name', 'value'], must: ['name', 'value'] }, // §6.3
  p: { inside: ['s', 'break', 'text'], attributes: [] }, // §4.1.1
  s: { inside: ['break', 'text'], attributes: [] },
  break: { inside: [], attributes: ['time'] },
}

export const SSML: Record<string, Model> = {
  // SSML 1.1 §3.1.1
  speak: { inside: SPEECH, attributes: ['version', 'xmlns', 'xml:lang'], must: ['version', 'xmlns', 'xml:lang'] },
  p: VOICE_XML.p!, // §3.1.8.1
  s: VOICE_XML.s!,
  break: VOICE_XML.break!, // §3.2.3
}
