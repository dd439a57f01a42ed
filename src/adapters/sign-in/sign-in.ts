import { MAY, type Actor } from '../../domain/access/roles.ts'
import { Failure } from '../../domain/failure.ts'
import type { Person, Session } from '../../flows/ports/access.ts'
import type { Vouched } from './oidc.ts'
import { passwordFits } from './passwords.ts'
import { record, spelledLogin, type AccessDeps } from './people.ts'
import { hashToken, newToken } from './tokens.ts'
import { totpStepOf } from './totp.ts'
import { countCode, countTry, forgetTries, recordFailure, type Trier } from './tries.ts'

export interface Credentials {
  login: string
  password: string
  /** From a code generator; empty without one. */
  code: string
}

/** The longest a session lasts, however busy. */
export const SESSION_LONGEST_MS = 12 * 3_600_000
const SEEN_EVERY_MS = 60_000

/** One answer for every way of being wrong: which names exist, and which wait, is nobody's business. */
export const refused = () =>
  new Failure('unauthorized', {
    message: 'Name, password or code is wrong, or there were too many tries. Wait a few minutes before the next.',
  })

/**
 * Checks name, password and code. Whoever waits comes in all the same with the right password and the right code of a
 * generator: two things nobody guesses at once. @param address where it is tried from
 * @returns the token of a new session. @throws unauthorized
 */
export async function signIn(deps: AccessDeps, credentials: Credentials, address: string): Promise<string> {
  const who = { login: spelledLogin(credentials.login), address }
  const found = await deps.access.read.persons.byLogin(who.login)
  const mayTry = await countTry(deps, who)
  // Done in every case, so that the time taken tells nothing.
  const fits = await passwordFits(found?.passwordHash ?? null, credentials.password)
  const comesIn =
    found && fits && (mayTry || found.totp !== null) && (await succeed(deps, found, who, credentials.code))
  if (comesIn) return openSession(deps, found.id)
  await recordFailure(deps, who, !mayTry)
  throw refused()
}

/** The password was right; now the code, where one is asked for. */
async function succeed(deps: AccessDeps, { id, totp }: Person, who: Trier, code: string): Promise<boolean> {
  if (totp !== null && !(await countCode(deps, who))) return false
  return deps.access.transact(async (tx) => {
    const person = await tx.persons.lock(id)
    if (!person || person.disabledAt) return false
    const step = unusedStep(person, code, deps.clock.now())
    if (step === null) return false
    await tx.persons.update({ ...person, totpStep: step })
    await forgetTries(tx, who)
    await record(deps, tx, 'signed-in', person)
    return true
  })
}

/** The step of a right code that was not used yet, or the last one where no code is asked for; else null. */
export function unusedStep({ totp, totpStep, login }: Person, code: string, now: Date): number | null {
  if (totp === null) return totpStep
  const step = totpStepOf(totp, login, code, now)
  return step !== null && step > totpStep ? step : null
}

/** @returns the token for the cookie; only its hash is kept. */
export async function openSession(deps: AccessDeps, personId: string): Promise<string> {
  const token = newToken()
  const now = deps.clock.now()
  await deps.access.transact((tx) =>
    tx.sessions.insert({ hash: hashToken(token), personId, createdAt: now, seenAt: now }),
  )
  return token
}

/**
 * Somebody the identity provider vouches for. Two providers may call two people the same: a person is known by issuer
 * and subject, with a space between them, or by the subject alone, as older versions kept it.
 * @throws unauthorized when nobody here is known by that name
 */
export async function signInAs(deps: AccessDeps, { issuer, subject }: Vouched): Promise<string> {
  const { persons } = deps.access.read
  const person = (await persons.bySubject(`${issuer} ${subject}`)) ?? (await persons.bySubject(subject))
  if (!person || person.disabledAt)
    throw new Failure('unauthorized', {
      message: 'Nobody here is known by this account. Ask an administrator to add you.',
    })
  await deps.access.transact((tx) => record(deps, tx, 'signed-in-elsewhere', person))
  return openSession(deps, person.id)
}

/** The person of a session, as long as it is neither idle nor old. */
export async function personOf(deps: AccessDeps, token: string, idleMs: number): Promise<Person | null> {
  const hash = hashToken(token)
  const session = await deps.access.read.sessions.get(hash)
  if (!session) return null
  const person = await personIn(deps, session, idleMs)
  if (!person) {
    await deps.access.transact((tx) => tx.sessions.remove(hash))
    return null
  }
  if (deps.clock.now().getTime() - session.seenAt.getTime() > SEEN_EVERY_MS)
    await deps.access.transact((tx) => tx.sessions.seen(hash, deps.clock.now()))
  return person
}

/** Whether a session still holds. Looking keeps it no longer alive, unlike `personOf`: nobody did anything. */
export async function sessionHolds(deps: AccessDeps, token: string, idleMs: number): Promise<boolean> {
  const session = await deps.access.read.sessions.get(hashToken(token))
  return session !== undefined && (await personIn(deps, session, idleMs)) !== undefined
}

async function personIn(deps: AccessDeps, session: Session, idleMs: number): Promise<Person | undefined> {
  const now = deps.clock.now().getTime()
  if (now - session.seenAt.getTime() > idleMs || now - session.createdAt.getTime() > SESSION_LONGEST_MS)
    return undefined
  const person = await deps.access.read.persons.get(session.personId)
  return person?.disabledAt ? undefined : person
}

export async function signOut(deps: AccessDeps, token: string): Promise<void> {
  await deps.access.transact((tx) => tx.sessions.remove(hashToken(token)))
}

export function actorOf({ id, name, role, clinicId, clinician }: Person): Actor {
  return { kind: 'person', id, name, role, may: MAY[role], clinicId, clinician }
}
