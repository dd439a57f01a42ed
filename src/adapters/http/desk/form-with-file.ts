import express, { type Request, type RequestHandler } from 'express'
import { Failure } from '../../../domain/failure.ts'

/** A file that somebody chose in a form. */
export interface ChosenFile {
  name: string
  bytes: Uint8Array
}

/** What a person may choose. */
export const LARGEST_FILE = 5 * 1024 * 1024
/** The form itself: a file that was looked at comes back packed and sealed, which may make it larger. */
const LARGEST_BODY = 2 * LARGEST_FILE

const asBytes = express.raw({ limit: LARGEST_BODY, type: 'multipart/form-data' })
const tooLarge = () => new Failure('too-large', { message: 'Choose a file of at most 5 MB: fewer days at once.' })

/** Reads a form with a file (RFC 7578): its fields as those of other forms, the file as bytes. */
export const formWithFile: RequestHandler = (request, response, next) => {
  asBytes(request, response, (error?: unknown) => {
    if (error) return next(isTooLarge(error) ? tooLarge() : error)
    readParts(request).then(() => next(), next)
  })
}

const isTooLarge = (error: unknown) =>
  typeof error === 'object' && error !== null && 'type' in error && error.type === 'entity.too.large'

async function readParts(request: Request): Promise<void> {
  const body: unknown = request.body
  if (!Buffer.isBuffer(body)) return
  const type = request.get('Content-Type')!
  // What Node itself makes of it: the same parser as behind `fetch`.
  const form = await new Response(new Uint8Array(body), { headers: { 'Content-Type': type } }).formData().catch(() => {
    throw new Failure('bad-json', { message: 'The form broke off before its end, or is none. Send it again.' })
  })
  const fields: Record<string, string> = {}
  for (const [name, value] of form) {
    if (typeof value === 'string') fields[name] = value
    else if (value.size > LARGEST_FILE) throw tooLarge()
    else if (value.size > 0) request.chosen = { name: value.name, bytes: new Uint8Array(await value.arrayBuffer()) }
  }
  request.body = fields
}

declare module 'express-serve-static-core' {
  interface Request {
    /** Where a form has a file. */
    chosen?: ChosenFile
  }
}
