import { createHash, createHmac } from 'node:crypto'

/** RFC 9530: what the body is, so that the signature covers it. */
export function contentDigest(body: string): string {
  return `sha-256=:${createHash('sha256').update(body).digest('base64')}:`
}

/**
 * RFC 9421 with hmac-sha256 (section 3.3.3).
 * @param covered components and their values, in order
 * @param secret the shared key's bytes
 * @returns what `Signature-Input` and `Signature` say, under the label `sig`
 */
export function signed(
  covered: readonly (readonly [string, string])[],
  { created, keyId, secret }: { created: number; keyId: string; secret: Buffer },
  parameters = `;created=${created};keyid="${keyId}";alg="hmac-sha256"`,
): { input: string; signature: string } {
  const names = covered.map(([name]) => `"${name}"`).join(' ')
  const input = `(${names})${parameters}`
  const base = [...covered.map(([name, value]) => `"${name}": ${value}`), `"@signature-params": ${input}`].join('\n')
  return { input: `sig=${input}`, signature: `sig=:${createHmac('sha256', secret).update(base).digest('base64')}:` }
}
