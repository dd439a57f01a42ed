import { createHash, timingSafeEqual } from 'node:crypto'
import type { RequestHandler } from 'express'
import { Failure } from '../../domain/failure.ts'

const digest = (text: string) => createHash('sha256').update(text).digest()

/** Compares secrets in constant time, whatever their lengths. */
export function sameSecret(a: string, b: string): boolean {
  return timingSafeEqual(digest(a), digest(b))
}

/**
 * Lets a request through that carries the key. Without a key configured the service listens on the machine itself only
 * (see config), and requests must name it as a local one, so that a page of another site cannot reach it by DNS tricks.
 */
export function requireKey(key: string | undefined): RequestHandler {
  return (request, _response, next) => {
    const allowed = key === undefined ? isLocalName(request.hostname) : sameSecret(request.get('Authorization') ?? '', `Bearer ${key}`)
    if (allowed) return next()
    next(new Failure('unauthorized', { field: 'Authorization', message: 'Send the API key as "Authorization: Bearer …".' }))
  }
}

function isLocalName(hostname: string): boolean {
  return hostname === 'localhost' || hostname === '127.0.0.1' || hostname === '[::1]' || hostname === '::1'
}
