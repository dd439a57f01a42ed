import { grantOf, refuseMoreThanOwn } from '../../domain/access/grant.ts'
import type { Actor, Role } from '../../domain/access/roles.ts'
import { TIED_TO_CLINIC } from '../../domain/access/roles.ts'
import { Failure, badInput } from '../../domain/failure.ts'
import type { AccessStore, Doer, Person } from '../../flows/ports/access.ts'
import { checkPassword, hashPassword } from './passwords.ts'
import { hashCode, newCode } from './tokens.ts'

/** What sign-in needs of the service. */
export interface AccessDeps {
  access: AccessStore
  clock: { now(): Date }
  newId(prefix: string): string
}

const CODE_WORTH_MS = 24 * 3_600_000

export interface Invitation {
  login: string
  name: string
  role: Role
  clinicId: string | null
  clinician: string | null
  subject: string | null
}

export const spelledLogin = (login: string) => login.normalize('NFKC').trim().toLowerCase()

/** Adds a person, who chooses a password with the one-time code. @returns the code, which is kept nowhere */
export async function invite(
  deps: AccessDeps,
  invitation: Invitation,
  by: Doer,
): Promise<{ person: Person; code: string }> {
  const login = checkedLogin(invitation.login)
  const tied = TIED_TO_CLINIC.includes(invitation.role)
  if (tied && invitation.clinicId === null) badInput('clinic', 'Say at which clinic this person works.')
  const code = newCode()
  const person: Person = {
    ...invitation,
    login,
    clinicId: tied ? invitation.clinicId : null,
    id: deps.newId('u'),
    ...blank(),
    ...withCode(deps, code),
    createdAt: deps.clock.now(),
  }
  await deps.access.transact(async (tx) => {
    if (await tx.persons.byLogin(login)) badInput('login', 'Somebody signs in with this name already. Choose another.')
    await tx.persons.insert(person)
    await record(deps, tx, 'person-invited', person, by)
  })
  return { person, code }
}

const blank = () => ({ passwordHash: null, totp: null, totpStep: 0, disabledAt: null })

const withCode = ({ clock }: AccessDeps, code: string) => ({
  codeHash: hashCode(code),
  codeUntil: new Date(clock.now().getTime() + CODE_WORTH_MS),
})

function checkedLogin(written: string): string {
  const login = spelledLogin(written)
  if (!/^[\p{L}\p{N}][\p{L}\p{N}._@-]{1,63}$/u.test(login))
    badInput('login', 'Use 2 to 64 letters, digits, dots, dashes or @.')
  return login
}

/**
 * A one-time code makes whoever holds it that person: nobody makes one for somebody who may do more.
 * @throws forbidden
 */
export async function refuseOverOthers({ access }: AccessDeps, maker: Actor, login: string): Promise<void> {
  const person = await access.read.persons.byLogin(spelledLogin(login))
  if (person) refuseMoreThanOwn(maker, grantOf(person.role, person.clinicId))
}

/** A new one-time code for somebody who forgot the password or lost the code generator. Ends all sessions. */
export async function reinvite(deps: AccessDeps, login: string, by: Doer): Promise<string> {
  const code = newCode()
  await change(deps, login, { what: 'person-reinvited', by }, (person) => ({
    ...person,
    ...blank(),
    disabledAt: person.disabledAt,
    ...withCode(deps, code),
  }))
  return code
}

/**
 * Nobody signs in under this name any more. Ends all sessions.
 * @throws not-found, too-late for oneself
 */
export async function disable(deps: AccessDeps, login: string, by: Doer): Promise<void> {
  await change(deps, login, { what: 'person-disabled', by }, (person) => {
    if (person.id === by.id)
      throw new Failure('too-late', { message: 'Nobody can shut themselves out. Ask another administrator.' })
    return { ...person, disabledAt: deps.clock.now(), codeHash: null, codeUntil: null }
  })
}

async function change(
  deps: AccessDeps,
  login: string,
  { what, by }: { what: string; by: Doer },
  changed: (person: Person) => Person,
): Promise<void> {
  await deps.access.transact(async (tx) => {
    const found = await tx.persons.byLogin(spelledLogin(login))
    const person = found && (await tx.persons.lock(found.id))
    if (!person) throw new Failure('not-found', { field: 'login', message: 'Nobody signs in with this name.' })
    await tx.persons.update(changed(person))
    await tx.sessions.removeOf(person.id)
    await record(deps, tx, what, person, by)
  })
}

/** Turns a one-time code into a password. The code is spent. @throws unauthorized, bad-input */
export async function choosePassword(deps: AccessDeps, code: string, password: string): Promise<Person> {
  const hash = hashCode(code)
  const person = await deps.access.read.persons.byCode(hash).then((found) => usable(deps, found))
  await checkPassword(password, [person.login, person.name])
  const passwordHash = await hashPassword(password)
  return deps.access.transact(async (tx) => {
    const again = usable(deps, await tx.persons.byCode(hash))
    const settled = { ...again, passwordHash, codeHash: null, codeUntil: null }
    await tx.persons.update(settled)
    await tx.sessions.removeOf(settled.id)
    await record(deps, tx, 'password-chosen', settled)
    return settled
  })
}

function usable({ clock }: AccessDeps, person: Person | undefined): Person {
  const holds = person && person.disabledAt === null && person.codeUntil !== null && person.codeUntil > clock.now()
  if (!holds)
    throw new Failure('unauthorized', {
      field: 'code',
      message: 'This code is wrong, used or too old. Ask an administrator for a new one.',
    })
  return person
}

type Tx = Parameters<Parameters<AccessStore['transact']>[0]>[0]

/** @param by who did it; without it, the person concerned */
export async function record(
  { clock }: AccessDeps,
  tx: Tx,
  what: string,
  person: Pick<Person, 'id' | 'clinicId' | 'role'>,
  by: Doer = { kind: 'person', id: person.id },
): Promise<void> {
  const facts = { role: person.role }
  await tx.audit.append([
    {
      at: clock.now(),
      actorKind: by.kind,
      actorId: by.id,
      what,
      subjects: [person.id],
      clinicId: person.clinicId,
      facts,
    },
  ])
}

/** The service itself, as it starts. */
const START: Doer = { kind: 'service', id: 'start' }

/**
 * As long as no administrator has ever chosen a password, every start makes a new one-time code for the first one:
 * there is never a default password. @returns login and code, or null once somebody has
 */
export async function firstAdministrator(deps: AccessDeps): Promise<{ login: string; code: string } | null> {
  const persons = await deps.access.read.persons.list()
  if (
    persons.some(
      ({ role, passwordHash, subject }) => role === 'administrator' && (passwordHash !== null || subject !== null),
    )
  )
    return null
  const waiting = persons.find(({ role }) => role === 'administrator')
  if (waiting) return { login: waiting.login, code: await reinvite(deps, waiting.login, START) }
  const administrator = { login: 'administrator', name: 'Administrator', role: 'administrator' } as const
  const { person, code } = await invite(
    deps,
    { ...administrator, clinicId: null, clinician: null, subject: null },
    START,
  )
  return { login: person.login, code }
}
