import type { NextFunction, Response } from 'express'

/**
 * Keeps an answer until `before` is done with what it says. Where that fails, the answer is the fault instead, and
 * nothing of what it said is told.
 * @param before gets the body, as Latin-1: enough for ids
 */
export function holdBack(response: Response, before: (body: string) => Promise<void>, next: NextFunction): void {
  const write = response.write.bind(response)
  const end = response.end.bind(response)
  const own = new Set(response.getHeaderNames())
  const parts: Buffer[] = []
  let isWhole = false
  const keep = (chunk: unknown, encoding?: unknown) => {
    if (typeof chunk === 'string')
      parts.push(Buffer.from(chunk, typeof encoding === 'string' ? (encoding as BufferEncoding) : 'utf8'))
    else if (chunk instanceof Uint8Array) parts.push(Buffer.from(chunk))
  }
  const letGo = () => Object.assign(response, { write, end })
  const takeBack = (error: unknown) => {
    letGo()
    for (const name of response.getHeaderNames().filter((each) => !own.has(each))) response.removeHeader(name)
    response.status(200)
    next(error)
  }
  const tell = () => {
    letGo()
    if (parts.length > 0) response.end(Buffer.concat(parts))
    else response.end()
  }
  response.write = (chunk: unknown, encoding?: unknown) => {
    keep(chunk, encoding)
    return true
  }
  response.end = (chunk?: unknown, encoding?: unknown) => {
    if (isWhole) return response
    isWhole = true
    keep(chunk, encoding)
    void before(Buffer.concat(parts).toString('latin1')).then(tell, takeBack)
    return response
  }
}
