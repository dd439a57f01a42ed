import { createHash, createHmac } from 'node:crypto'

export interface Signed {
  timestamp: string
  method: string
  path: string
  body: Buffer
}

interface Scheme {
  algorithm: 'sha256' | 'sha512' | 'sha1'
  signed: string
  encoding: 'hex' | 'base64'
}

/**
 * The signature of a request or callback, over what the scheme's `signed` template names. The body is signed byte for
 * byte.
 */
export function sign(scheme: Scheme, secret: string, parts: Signed): string {
  const hash = createHmac(scheme.algorithm, secret)
  for (const piece of scheme.signed.split(/(\{[a-z0-9_]+\})/)) hash.update(valueOf(piece, parts))
  return hash.digest(scheme.encoding)
}

function valueOf(piece: string, parts: Signed): string | Buffer {
  if (piece === '{timestamp}') return parts.timestamp
  if (piece === '{method}') return parts.method
  if (piece === '{path}') return parts.path
  if (piece === '{body}') return parts.body
  if (piece === '{body_sha256}') return createHash('sha256').update(parts.body).digest('hex')
  return piece
}
