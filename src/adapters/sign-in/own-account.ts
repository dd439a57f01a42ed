import * as z from 'zod'
import { Failure, badInput } from '../../domain/failure.ts'
import type { Person } from '../../flows/ports/access.ts'
import type { Deps } from '../../flows/ports/deps.ts'
import { checkPassword, hashPassword, passwordFits } from './passwords.ts'
import { record, type AccessDeps } from './people.ts'
import { openSession, refused, unusedStep } from './sign-in.ts'
import { newTotpSecret, totpStepOf } from './totp.ts'
import { countCode, countTry, forgetTries, recordFailure } from './tries.ts'

/**
 * A new password for somebody who is signed in and knows the old one. Ends all other sessions.
 * @returns the token of a new session. @throws unauthorized, bad-input
 */
export async function changePassword(
  deps: AccessDeps,
  person: Person,
  { old, wanted }: { old: string; wanted: string },
  address: string,
): Promise<string> {
  await proveSelf(deps, person, old, address)
  await checkPassword(wanted, [person.login, person.name])
  const passwordHash = await hashPassword(wanted)
  return settle(deps, person, address, 'password-changed', (locked) => ({ ...locked, passwordHash }))
}

/** A wrong password in one's own account counts like a wrong one at sign-in. @throws unauthorized */
async function proveSelf(deps: AccessDeps, { login, passwordHash }: Person, password: string, address: string) {
  const who = { login, address }
  const mayTry = await countTry(deps, who)
  if ((await passwordFits(passwordHash, password)) && mayTry) return
  await recordFailure(deps, who, !mayTry)
  throw refused()
}

/** Changes the person, ends every session, and opens a new one for whoever did it. */
async function settle(
  deps: AccessDeps,
  { id, login }: Person,
  address: string,
  what: string,
  changed: (person: Person) => Person,
): Promise<string> {
  await deps.access.transact(async (tx) => {
    const locked = (await tx.persons.lock(id))!
    await tx.persons.update(changed(locked))
    await tx.sessions.removeOf(id)
    await forgetTries(tx, { login, address })
    await record(deps, tx, what, locked)
  })
  return openSession(deps, id)
}

/** How long a secret that was offered may be taken up. */
const OFFER_MS = 30 * 60_000
const offerSchema = z.strictObject({ secret: z.string(), until: z.number() })
const bondOf = (personId: string) => `second factor for ${personId}`

type Seals = Deps['seals']

/** A new secret for a person's code generator, and the same sealed for this person: nobody else makes up a secret. */
export function offerSecret(seals: Seals, { id }: Person, now: Date): { secret: string; sealed: string } {
  const secret = newTotpSecret()
  return { secret, sealed: seals.seal(JSON.stringify({ secret, until: now.getTime() + OFFER_MS }), bondOf(id)) }
}

function offeredSecret(seals: Seals, { id }: Person, sealed: string, now: Date): string {
  try {
    const { secret, until } = offerSchema.parse(JSON.parse(seals.open(sealed, bondOf(id))))
    if (until >= now.getTime()) return secret
  } catch {
    // Of somebody else, of our own making never, or cut: the same to whoever sent it.
  }
  badInput('offer', 'Open the page again and use the secret it shows.')
}

export interface Codes {
  password: string
  code: string
}

/**
 * Asks for codes at sign-in from now on. The first code proves that the generator has the secret.
 * @param offer the secret as it was sealed by `offerSecret`
 * @returns the token of a new session. @throws unauthorized, bad-input
 */
export async function beginCodes(
  deps: AccessDeps & { seals: Seals },
  person: Person,
  { password, code, offer }: Codes & { offer: string },
  address: string,
): Promise<string> {
  await proveSelf(deps, person, password, address)
  if (person.totp !== null)
    throw new Failure('too-late', { message: 'A code is asked for already. End that first, with a code of it.' })
  const totp = offeredSecret(deps.seals, person, offer, deps.clock.now())
  const step = totpStepOf(totp, person.login, code, deps.clock.now())
  if (step === null) badInput('code', 'This code does not belong to the secret. Check the clock of your telephone.')
  return settle(deps, person, address, 'codes-begun', (locked) => ({ ...locked, totp, totpStep: step }))
}

/**
 * Asks for no codes any more: with the password and a code that was not used yet, since whoever has the password alone
 * is kept out by just these codes. @returns the token of a new session. @throws unauthorized
 */
export async function endCodes(
  deps: AccessDeps,
  person: Person,
  { password, code }: Codes,
  address: string,
): Promise<string> {
  await proveSelf(deps, person, password, address)
  const mayTry = await countCode(deps, { login: person.login, address })
  if (!mayTry || person.totp === null || unusedStep(person, code, deps.clock.now()) === null) {
    await recordFailure(deps, { login: person.login, address }, !mayTry)
    throw refused()
  }
  return settle(deps, person, address, 'codes-ended', (locked) => ({ ...locked, totp: null }))
}
