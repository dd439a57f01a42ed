import { badInput } from '../../failure.ts'
import { readablePhone } from '../../patients/phone.ts'
import { writeWhen } from '../texts/dates.ts'
import type { Detail, TextKind, TextValues } from '../texts/kinds.ts'
import { MESSAGE_KINDS } from '../texts/message-kinds.ts'
import type { Language, TextLibrary } from '../texts/library.ts'
import { fill } from '../texts/message.ts'
import { languageOf, renderText, type RenderedText, type VoicePart } from '../texts/render.ts'
import type { CallScript, KeyAct, Step } from './call-script.ts'
import { AGAIN, keysAfter, STOP, WHEN_KEYS, type Key } from './menu.ts'
import type { CallPhrases } from './phrases.ts'
import type { Pressed } from './pressed.ts'

export interface ScriptRequest {
  kind: TextKind
  language: string
  detail: Detail
  values: TextValues
}

type State = RenderedText['state']

/** Writes calls from the texts and phrases of all languages. */
export interface CallWriter {
  /** @throws Failure `bad-input` for an unknown language, or a value that the texts need and were not given. */
  script(request: ScriptRequest): { script: CallScript; state: State }
  /** What is said in answer to a key; where it offers times, keys choose one. */
  answer(request: ScriptRequest): { step: Step; state: State }
}

export function callWriter(library: TextLibrary, phrases: ReadonlyMap<string, CallPhrases>): CallWriter {
  const open = (request: ScriptRequest) => new Pen(library, phrases, request)
  return {
    script: (request) => writeScript(open(request)),
    answer: (request) => writeAnswer(open(request)),
  }
}

/** The texts and phrases of one call; remembers whether any of them is a draft. */
class Pen {
  readonly request: ScriptRequest
  readonly language: Language
  readonly phrases: CallPhrases
  state: State
  readonly #library: TextLibrary

  constructor(library: TextLibrary, phrases: ReadonlyMap<string, CallPhrases>, request: ScriptRequest) {
    this.#library = library
    // In groups, the voice says digits instead of billions.
    this.request = { ...request, values: { ...request.values, clinicPhone: readablePhone(request.values.clinicPhone) } }
    this.language = languageOf(library, request.language)
    this.phrases = phrases.get(this.language.code) ?? badInput('language', 'There are no calls in this language.')
    this.state = this.phrases.state
  }

  text(voicePart: VoicePart): string {
    const { text, state } = renderText(this.#library, { ...this.request, channel: 'voice', voicePart })
    if (state === 'draft') this.state = 'draft'
    return text
  }

  phrase(words: string, key = ''): string {
    return fill(words, this.language.locale, { key, clinic: this.request.values.clinic })
  }

  says(name: keyof CallPhrases['says']): string {
    return this.phrase(this.phrases.says[name])
  }

  key({ phrase, digit }: Key): string {
    const { keys, period } = this.phrases
    return this.phrase(
      phrase in keys ? keys[phrase as keyof typeof keys] : period[phrase as keyof typeof period],
      digit,
    )
  }

  answered(answer: Pressed): KeyAct {
    const told = answersIt(answer, this.request.kind) && { told: true as const }
    return { answer, then: this.says(thanksFor(answer)), ...told }
  }

  act({ does }: Key, step: string): KeyAct {
    if (does === 'again') return { go: step }
    return does === 'started' ? { go: 'started' } : this.answered(does)
  }

  menu(keys: readonly Key[], step: string): Step {
    return {
      say: [keys.map((key) => this.key(key)).join(' ')],
      keys: Object.fromEntries(keys.map((key) => [key.digit, this.act(key, step)])),
    }
  }

  /** `For Tuesday, March 24, at 10 in the morning, press 1.` */
  choices(): Step {
    const { values, kind } = this.request
    const times = MESSAGE_KINDS[kind].answers === 'numbers' ? (values.choices ?? []) : []
    const said = times.map((at, index) => {
      const when = writeWhen(at, values.zone, this.language, 'voice')
      return fill(this.language.choice.voice, this.language.locale, { number: index + 1, when })
    })
    const keys = times.map((_, index) => [String(index + 1), this.answered({ meaning: 'choice', choice: index + 1 })])
    return { say: said.length > 0 ? [said.join(' ')] : [], keys: Object.fromEntries(keys) }
  }
}

/** Key 1 after a message, or what it asks for. Whoever needs another time or wants no calls may not have listened. */
function answersIt({ meaning }: Pressed, kind: TextKind): boolean {
  if (meaning === 'period-started') return MESSAGE_KINDS[kind].answers === 'period'
  return meaning === 'confirm' || meaning === 'not-started' || meaning === 'choice'
}

/** What is said when the answer was heard and nothing else follows from it at once. */
function thanksFor({ meaning, daysAgo }: Pressed): keyof CallPhrases['says'] {
  if (meaning === 'stop') return 'stopped'
  if (meaning === 'wrong-person') return 'wrongNumber'
  const asks =
    meaning === 'cannot-come' || meaning === 'choice' || (meaning === 'period-started' && daysAgo === undefined)
  return asks ? 'person' : 'noted'
}

function writeScript(pen: Pen): { script: CallScript; state: State } {
  const { kind, detail, values } = pen.request
  const keys = keysAfter(kind, detail, values.periods !== false)
  const message = joined({ say: [pen.text('full')], keys: {} }, pen.choices(), pen.menu(keys, 'message'))
  const asksWhen = keys.some(({ does }) => does === 'started')
  const script = {
    language: pen.language.code,
    locale: pen.language.locale,
    steps: { greeting: greeting(pen), message, ...(asksWhen && { started: when(pen) }) },
    voicemail: pen.text('voicemail'),
    notAKey: pen.says('notAKey'),
  }
  return { script, state: pen.state }
}

/** The greeting's own words name 1 and 7. */
function greeting(pen: Pen): Step {
  const { say, keys } = pen.menu([STOP], 'greeting')
  return {
    say: [`${pen.text('greeting')} ${say.join(' ')}`],
    keys: { '1': { go: 'message' }, '7': pen.answered({ meaning: 'wrong-person' }), ...keys },
  }
}

function when(pen: Pen): Step {
  const { say, keys } = pen.menu(WHEN_KEYS, 'started')
  return { say: [`${pen.phrase(pen.phrases.period.when)} ${say.join(' ')}`], keys }
}

function writeAnswer(pen: Pen): { step: Step; state: State } {
  const said: Step = { say: [pen.text('full')], keys: {} }
  const choices = pen.choices()
  if (choices.say.length === 0) return { step: { say: [...said.say, pen.says('goodbye')], keys: {} }, state: pen.state }
  const again = pen.menu([AGAIN], 'answer')
  return { step: joined(said, choices, again), state: pen.state }
}

function joined(...steps: Step[]): Step {
  return {
    say: steps.flatMap(({ say }) => say),
    keys: Object.assign({}, ...steps.map(({ keys }) => keys)) as Step['keys'],
  }
}
