/** What a peer sent: an answer to our request, or a callback. Its body is opened only as far as somebody asks. */
export class Letter {
  readonly query: Record<string, string>
  readonly headers: Record<string, string>
  readonly body: Buffer
  #json: { value: unknown } | undefined
  #form: URLSearchParams | undefined

  constructor(query: Record<string, string>, headers: Record<string, string>, body: Buffer, json?: { value: unknown }) {
    this.query = query
    this.headers = headers
    this.body = body
    this.#json = json
  }

  get text(): string {
    return this.body.toString('utf8')
  }

  /** The body as JSON, or undefined when it is none. */
  get json(): unknown {
    this.#json ??= { value: parseJson(this.text) }
    return this.#json.value
  }

  get form(): URLSearchParams {
    this.#form ??= new URLSearchParams(this.text)
    return this.#form
  }

  /** The same letter, seen from one item of a list in it. */
  about(item: unknown): Letter {
    return new Letter(this.query, this.headers, this.body, { value: item })
  }
}

/** Takes one value out of a letter, or says that it is not there. */
export type Take = (letter: Letter) => string | undefined

/** Makes a source of the configuration (`query:id`, `json:a.b[0]`, …) ready. */
export function taker(source: string): Take {
  const [kind, name] = split(source)
  if (kind === 'query') return (letter) => letter.query[name]
  if (kind === 'header') return (letter) => letter.headers[name.toLowerCase()]
  if (kind === 'form') return (letter) => letter.form.get(name) ?? undefined
  if (kind === 'json') return (letter) => scalar(pick(letter.json, name))
  if (name === '') return (letter) => letter.text
  const pattern = new RegExp(name, 's')
  return (letter) => pattern.exec(letter.text)?.[1]
}

/** The part of a JSON value at `a.b[0].c`; undefined where there is none. */
export function pick(value: unknown, path: string): unknown {
  const steps = path.split(/[.[\]]+/).filter((step) => step !== '')
  return steps.reduce<unknown>((at, step) => (isRecord(at) && Object.hasOwn(at, step) ? at[step] : undefined), value)
}

function split(source: string): [string, string] {
  const colon = source.indexOf(':')
  return colon < 0 ? [source, ''] : [source.slice(0, colon), source.slice(colon + 1)]
}

function scalar(value: unknown): string | undefined {
  return ['string', 'number', 'boolean'].includes(typeof value) ? String(value) : undefined
}

function isRecord(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null
}

function parseJson(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return undefined
  }
}
