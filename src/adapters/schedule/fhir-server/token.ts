import { readFile } from 'node:fs/promises'
import { importJWK, importPKCS8, SignJWT } from 'jose'
import * as z from 'zod'
import { FetchFault } from '../fetch-file.ts'
import { askServer, type ServerWay } from './ask-server.ts'

/** Who we are to a FHIR server (SMART App Launch 2, backend services). */
export interface TokenSettings {
  clientId: string
  /** A private key: JWK, or PKCS#8 in PEM. */
  keyFile: string
  keyId: string
  algorithm: 'ES384' | 'RS384'
  scope: string
  /** Null = as the server's `/.well-known/smart-configuration` says. */
  address: string | null
}

export interface Token {
  value: string
  /** From then on another one is asked for. */
  until: Date
}

/** As long as an assertion may hold at most, and a token is trusted where its server does not say how long. */
const HOLDS_S = 300
/** A token is not used in its last seconds: it would end on the way. */
const SPARE_S = 30
const TYPE = 'urn:ietf:params:oauth:client-assertion-type:jwt-bearer'

const tokenSchema = z.object({ access_token: z.string().min(1), expires_in: z.number().positive().optional() })
const configurationSchema = z.object({ token_endpoint: z.url() })

/**
 * Asks for an access token with a signed assertion (private_key_jwt).
 * @param jti of the assertion: never used twice
 * @throws FetchFault
 */
export async function askToken(
  settings: TokenSettings,
  { base, way, now, jti }: { base: string; way: ServerWay; now: Date; jti: string },
): Promise<Token> {
  const address = settings.address ?? (await discovered(base, way))
  const { clientId, keyFile, keyId, algorithm, scope } = settings
  const issued = Math.floor(now.getTime() / 1000)
  const assertion = await new SignJWT({ jti })
    .setProtectedHeader({ alg: algorithm, kid: keyId, typ: 'JWT' })
    .setIssuer(clientId)
    .setSubject(clientId)
    .setAudience(address)
    .setIssuedAt(issued)
    .setExpirationTime(issued + HOLDS_S)
    .sign(await keyOf(keyFile, algorithm))
  const form = { grant_type: 'client_credentials', scope, client_assertion_type: TYPE, client_assertion: assertion }
  const headers = { 'Content-Type': 'application/x-www-form-urlencoded' }
  const asked = { url: new URL(address), method: 'POST' as const, headers, body: new URLSearchParams(form).toString() }
  const { status, json } = await askServer(asked, way)
  const read = tokenSchema.safeParse(json)
  if (status !== 200 || !read.success) throw new FetchFault(`it gives no token (${status})`)
  const seconds = Math.max(0, (read.data.expires_in ?? HOLDS_S) - SPARE_S)
  return { value: read.data.access_token, until: new Date(now.getTime() + seconds * 1000) }
}

async function discovered(base: string, way: ServerWay): Promise<string> {
  const { status, json } = await askServer({ url: new URL(`${base}/.well-known/smart-configuration`) }, way)
  const read = configurationSchema.safeParse(json)
  if (status !== 200 || !read.success) throw new FetchFault('it does not say where tokens are given')
  return read.data.token_endpoint
}

async function keyOf(file: string, algorithm: string) {
  const text = await readFile(file, 'utf8').catch(() => {
    throw new FetchFault('the file of our key cannot be read')
  })
  try {
    return text.trimStart().startsWith('{')
      ? await importJWK(JSON.parse(text) as object, algorithm)
      : await importPKCS8(text, algorithm)
  } catch {
    throw new FetchFault(`the file of our key holds no private key for ${algorithm}`)
  }
}
