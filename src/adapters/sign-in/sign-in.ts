import { MAY, type Actor } from '../../domain/access/roles.ts'
import { waitAfter } from '../../domain/access/lockout.ts'
import { Failure } from '../../domain/failure.ts'
import type { Person } from '../../flows/ports/access.ts'
import { hashPassword, passwordFits, checkPassword } from './passwords.ts'
import { record, spelledLogin, type AccessDeps } from './people.ts'
import { hashToken, newToken } from './tokens.ts'
import { totpStepOf } from './totp.ts'

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
const refused = () =>
  new Failure('unauthorized', {
    message: 'Name, password or code is wrong, or there were too many tries. Wait a few minutes before the next.',
  })

/** Checks name, password and code. @returns the token of a new session. @throws unauthorized */
export async function signIn(deps: AccessDeps, { login, password, code }: Credentials): Promise<string> {
  const found = await deps.access.read.persons.byLogin(spelledLogin(login))
  const mayTry = found ? await countTry(deps, found.id) : false
  // Done in every case, so that the time taken tells nothing.
  const fits = await passwordFits(found?.passwordHash ?? null, password)
  if (!found || !mayTry || !fits || !(await succeed(deps, found.id, code))) throw refused()
  return openSession(deps, found.id)
}

/**
 * A try counts before it is checked, so that many at once are still counted one by one. @returns whether it may be made
 */
async function countTry(deps: AccessDeps, id: string): Promise<boolean> {
  return deps.access.transact(async (tx) => {
    const person = await tx.persons.lock(id)
    const now = deps.clock.now()
    if (!person || person.disabledAt || (person.lockedUntil && person.lockedUntil > now)) return false
    const failures = person.failures + 1
    const wait = waitAfter(failures)
    await tx.persons.update({ ...person, failures, lockedUntil: wait > 0 ? new Date(now.getTime() + wait) : null })
    if (wait > 0) await record(deps, tx, 'sign-in-locked', person)
    return true
  })
}

/** The password was right; now the code, where one is asked for. */
async function succeed(deps: AccessDeps, id: string, code: string): Promise<boolean> {
  return deps.access.transact(async (tx) => {
    const person = await tx.persons.lock(id)
    if (!person || person.disabledAt) return false
    const step = person.totp === null ? person.totpStep : totpStepOf(person.totp, person.login, code, deps.clock.now())
    if (step === null || (person.totp !== null && step <= person.totpStep)) return false
    await tx.persons.update({ ...person, failures: 0, lockedUntil: null, totpStep: step })
    await record(deps, tx, 'signed-in', person)
    return true
  })
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

/** Somebody the identity provider vouches for. @throws unauthorized when nobody here is known by that name */
export async function signInAs(deps: AccessDeps, subject: string): Promise<string> {
  const person = await deps.access.read.persons.bySubject(subject)
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
  const now = deps.clock.now().getTime()
  const over = now - session.seenAt.getTime() > idleMs || now - session.createdAt.getTime() > SESSION_LONGEST_MS
  const person = over ? undefined : await deps.access.read.persons.get(session.personId)
  if (!person || person.disabledAt) {
    await deps.access.transact((tx) => tx.sessions.remove(hash))
    return null
  }
  if (now - session.seenAt.getTime() > SEEN_EVERY_MS)
    await deps.access.transact((tx) => tx.sessions.seen(hash, deps.clock.now()))
  return person
}

export async function signOut(deps: AccessDeps, token: string): Promise<void> {
  await deps.access.transact((tx) => tx.sessions.remove(hashToken(token)))
}

/**
 * A new password for somebody who is signed in and knows the old one. Ends all other sessions. @throws unauthorized,
 * bad-input
 */
export async function changePassword(deps: AccessDeps, person: Person, old: string, wanted: string): Promise<string> {
  if (!(await countTry(deps, person.id)) || !(await passwordFits(person.passwordHash, old))) throw refused()
  await checkPassword(wanted, [person.login, person.name])
  const passwordHash = await hashPassword(wanted)
  await deps.access.transact(async (tx) => {
    const locked = (await tx.persons.lock(person.id))!
    await tx.persons.update({ ...locked, passwordHash, failures: 0, lockedUntil: null })
    await tx.sessions.removeOf(person.id)
    await record(deps, tx, 'password-changed', person)
  })
  return openSession(deps, person.id)
}

/** Asks for codes at sign-in from now on, or no longer. */
export async function setTotp(deps: AccessDeps, person: Person, secret: string | null, step: number): Promise<void> {
  await deps.access.transact(async (tx) => {
    const locked = (await tx.persons.lock(person.id))!
    await tx.persons.update({ ...locked, totp: secret, totpStep: step })
    await record(deps, tx, secret === null ? 'codes-ended' : 'codes-begun', person)
  })
}

export function actorOf({ id, name, role, clinicId, clinician }: Person): Actor {
  return { kind: 'person', id, name, role, may: MAY[role], clinicId, clinician }
}
