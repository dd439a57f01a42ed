import type { Actor, Permission } from '../../domain/access/roles.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import type { ApiKey, Doer } from '../../flows/ports/access.ts'
import type { AccessDeps } from './people.ts'
import { sameSecret } from '../vault/same-secret.ts'
import { hashToken, newToken } from './tokens.ts'

/** Says what it is, so that a key left lying about is recognised. */
const MARK = 'dsx'
const USED_EVERY_MS = 60_000

export interface KeyWish {
  name: string
  may: Permission[]
  clinicId: string | null
  expiresAt: Date | null
}

/** Makes a key. @returns it with its secret, which is shown once and kept nowhere */
export async function makeApiKey(deps: AccessDeps, wish: KeyWish, by: Doer): Promise<{ key: ApiKey; secret: string }> {
  if (wish.may.length === 0) badInput('may', 'Say what the key may do: a key that may do nothing opens nothing.')
  const half = newToken()
  const key: ApiKey = {
    ...wish,
    id: deps.newId('y').replace('_', ''),
    hash: hashToken(half),
    createdAt: deps.clock.now(),
    revokedAt: null,
    usedAt: null,
  }
  await deps.access.transact(async (tx) => {
    await tx.apiKeys.insert(key)
    await append(deps, tx, { what: 'key-made', by }, key)
  })
  return { key, secret: `${MARK}_${key.id}_${half}` }
}

/** @throws not-found when there is none, or it was revoked already */
export async function revokeApiKey(deps: AccessDeps, id: string, by: Doer): Promise<void> {
  await deps.access.transact(async (tx) => {
    const key = await tx.apiKeys.get(id)
    if (!key || !(await tx.apiKeys.revoke(id, deps.clock.now())))
      throw new Failure('not-found', { message: 'There is no key of this id, or it was revoked already.' })
    await append(deps, tx, { what: 'key-revoked', by }, key)
  })
}

type Tx = Parameters<Parameters<AccessDeps['access']['transact']>[0]>[0]

async function append(
  { clock }: AccessDeps,
  tx: Tx,
  { what, by }: { what: string; by: Doer },
  { id, clinicId, may }: ApiKey,
): Promise<void> {
  await tx.audit.append([
    { at: clock.now(), actorKind: by.kind, actorId: by.id, what, subjects: [id], clinicId, facts: { may } },
  ])
}

/**
 * Who a key is; null when it is wrong, revoked or expired. The hash is what is compared, so time tells nothing of the
 * key.
 */
export async function actorOfKey(deps: AccessDeps, secret: string): Promise<Actor | null> {
  const [mark, id, ...rest] = secret.split('_')
  if (mark !== MARK || !id || rest.length === 0) return null
  const key = await deps.access.read.apiKeys.get(id)
  const now = deps.clock.now()
  const fits = sameSecret(hashToken(rest.join('_')), key?.hash ?? '')
  if (!key || !fits || key.revokedAt || (key.expiresAt && key.expiresAt <= now)) return null
  if (!key.usedAt || now.getTime() - key.usedAt.getTime() > USED_EVERY_MS)
    await deps.access.transact((tx) => tx.apiKeys.used(id, now))
  return {
    kind: 'key',
    id: key.id,
    name: key.name,
    role: 'desk',
    may: key.may,
    clinicId: key.clinicId,
    clinician: null,
  }
}
