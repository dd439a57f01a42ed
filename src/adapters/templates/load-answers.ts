import { join } from 'node:path'
import * as z from 'zod'
import type { Answer, AvoidRule } from '../../domain/preparation/protocol.ts'
import { answerKey, type Approvals } from '../../domain/messages/texts/approval.ts'
import { fill } from '../../domain/messages/texts/message.ts'
import { digestOf } from './digest.ts'
import { foldersWith, readYaml, type Faults } from './files.ts'
import type { ProtocolFile } from './protocol-file.ts'

const words = z.string().min(1)
const answersFile = z.record(
  z.string(),
  z.strictObject({ rule: words.optional(), avoid: words.optional(), fine: words.optional(), say: words.optional() }),
)
type Sentences = z.infer<typeof answersFile>[string]

/** The answers one language has, before a protocol decides which of them hold. */
export interface LanguageAnswers {
  code: string
  topics: z.infer<typeof answersFile>
  /** Ids of the rules it has words for. */
  rules: string[]
}

const rulesOnly = z.looseObject({ rules: z.record(z.string(), z.unknown()) })

/** Reads `answers.yaml` of every language that has one, and which rules the language can name. */
export function loadAnswers(folder: string, faults: Faults): LanguageAnswers[] {
  return foldersWith(folder, 'answers.yaml').map((code) => ({
    code,
    topics: readYaml(join(folder, code, 'answers.yaml'), answersFile, faults) ?? {},
    rules: Object.keys(readYaml(join(folder, code, 'language.yaml'), rulesOnly, faults)?.rules ?? {}),
  }))
}

/** The answers that hold for one protocol, topic → language → sentence. Topics without one are for a person. */
export function answersOf(
  protocol: ProtocolFile,
  languages: LanguageAnswers[],
  approvals: Approvals,
): Record<string, Record<string, Answer>> {
  const answers: Record<string, Record<string, Answer>> = {}
  for (const { code, topics } of languages) {
    for (const [topic, sentences] of Object.entries(topics)) {
      const answer = answerFor(topic, sentences, protocol, code, approvals)
      if (answer) (answers[topic] ??= {})[code] = answer
    }
  }
  return withOwnAnswers(answers, protocol)
}

function answerFor(
  topic: string,
  sentences: Sentences,
  protocol: ProtocolFile,
  code: string,
  approvals: Approvals,
): Answer | null {
  const rule = protocol.avoid.find(({ what }) => what === sentences.rule)
  const variant = variantOf(sentences, rule, protocol.fine)
  const sentence = variant && sentences[variant]
  if (!sentence) return null
  const digest = digestOf(sentence)
  return {
    sentence: fill(sentence, code, { hours: rule?.hours ?? 0 }),
    get state() {
      return approvals(code, answerKey(topic, variant), digest) ? 'approved' : 'draft'
    },
  }
}

function variantOf(sentences: Sentences, rule: AvoidRule | undefined, fine: string[]): 'avoid' | 'fine' | 'say' | null {
  if (rule) return 'avoid'
  if (sentences.rule && fine.includes(sentences.rule)) return 'fine'
  return sentences.say ? 'say' : null
}

/** What the protocol's own file says about a topic goes before the language's. */
function withOwnAnswers(
  answers: Record<string, Record<string, Answer>>,
  protocol: ProtocolFile,
): Record<string, Record<string, Answer>> {
  for (const [topic, own] of Object.entries(protocol.answers)) {
    if (own === null) delete answers[topic]
    else
      for (const [code, { sentence }] of Object.entries(own))
        (answers[topic] ??= {})[code] = { sentence, state: 'approved' }
  }
  return answers
}
