import { createInterface } from 'node:readline'
import type { Readable, Writable } from 'node:stream'
import * as z from 'zod'
import { Failure } from '../domain/failure.ts'

interface LineError {
  code: string
  message: string
  field?: string
}

/**
 * Answers JSON objects, one a line, in the order they came. A bad line is answered with
 * `{"id":…,"error":{code,message,field}}` and the command goes on.
 *
 * @returns the exit code: 0, or 2 when any line was bad.
 */
export async function answerLines<S extends z.ZodType>(
  schema: S,
  answer: (input: z.infer<S>) => object,
  input: Readable = process.stdin,
  output: Writable = process.stdout,
): Promise<number> {
  let exit = 0
  for await (const line of createInterface({ input, crlfDelay: Infinity })) {
    if (line.trim() === '') continue
    const reply = answerLine(schema, answer, line)
    if ('error' in reply) exit = 2
    if (!output.write(`${JSON.stringify(reply)}\n`)) await new Promise((resume) => output.once('drain', resume))
  }
  return exit
}

function answerLine<S extends z.ZodType>(schema: S, answer: (input: z.infer<S>) => object, line: string): object {
  let id: unknown = null
  try {
    const raw: unknown = JSON.parse(line)
    id = typeof raw === 'object' && raw !== null && 'id' in raw ? raw.id : null
    return { id, ...answer(schema.parse(raw)) }
  } catch (error) {
    return { id, error: describe(error, schema) }
  }
}

/**
 * All faults of a line in one message, each with its field where there are several: nobody should have to mend
 * them one by one.
 */
function faultsOf({ issues }: z.ZodError, schema: z.ZodType): string {
  if (issues.length === 1) return messageOf(issues[0]!, schema)
  const faults = issues.map((issue) => [fieldOf(issue), messageOf(issue, schema)].filter(Boolean).join(': '))
  return `${faults.map((fault) => fault.replace(/\.$/, '')).join('; ')}.`
}

/** A name that nobody knows is never passed over: it may be a slip of the pen for one that matters. */
function messageOf(issue: z.core.$ZodIssue, schema: z.ZodType): string {
  if (issue.code !== 'unrecognized_keys' || !(schema instanceof z.ZodObject)) return issue.message
  return `No such field: ${issue.keys.join(', ')}. Known: ${Object.keys(schema.shape).join(', ')}.`
}

function fieldOf(issue: z.core.$ZodIssue): string {
  return issue.code === 'unrecognized_keys' ? issue.keys.join(', ') : issue.path.join('.')
}

function describe(error: unknown, schema: z.ZodType): LineError {
  if (error instanceof z.ZodError) {
    const field = fieldOf(error.issues[0]!)
    return { code: 'bad-input', message: faultsOf(error, schema), ...(field && { field }) }
  }
  if (error instanceof Failure) {
    const { message, field } = error.detail
    return { code: error.code, message, ...(field && { field }) }
  }
  if (error instanceof SyntaxError)
    return { code: 'bad-json', message: 'This line is not a JSON object. Put one whole object on each line.' }
  throw error
}
