import type { Person, PersonRecords } from '../../../flows/ports/access.ts'
import { BrokenSeal, type Vault } from '../../vault/vault.ts'
import { bondOf, sealedField, UNREADABLE } from '../sealed-field.ts'
import type { PersonTable } from './access.tables.ts'
import type { AccessDb } from '../connections.ts'

interface Sealed extends Pick<Person, 'login' | 'name' | 'clinician' | 'totp' | 'subject'> {
  /** What the plain columns say: whoever writes there without the key makes nobody an administrator. */
  stands?: string
}

/** What somebody may do, and how they come in. */
const standing = ({ role, clinicId, passwordHash, codeHash, codeUntil, disabledAt }: Person) =>
  JSON.stringify([role, clinicId, passwordHash, codeHash, codeUntil, disabledAt])

const fieldOf = (vault: Vault) => sealedField<Sealed>(vault, 'person')
/** Nobody can sign in as somebody whose record was altered. */
const unreadable = (): Sealed => ({ login: UNREADABLE, name: UNREADABLE, clinician: null, totp: null, subject: null })

function toRow(person: Person, vault: Vault): PersonTable {
  const { login, name, clinician, totp, subject } = person
  return {
    id: person.id,
    login_print: loginPrint(vault, login),
    subject_print: subject === null ? null : subjectPrint(vault, subject),
    role: person.role,
    clinic_id: person.clinicId,
    password_hash: person.passwordHash,
    totp_step: person.totpStep,
    code_hash: person.codeHash,
    code_until: person.codeUntil,
    disabled_at: person.disabledAt,
    created_at: person.createdAt,
    sealed: fieldOf(vault).seal({ login, name, clinician, totp, subject, stands: standing(person) }, person.id),
  }
}

function toPerson(row: PersonTable, vault: Vault, instead?: () => Sealed): Person {
  const { stands, ...sealed } = fieldOf(vault).open(row.sealed, [row.id], instead)
  const person = {
    ...sealed,
    id: row.id,
    role: row.role,
    clinicId: row.clinic_id,
    passwordHash: row.password_hash,
    totpStep: Number(row.totp_step),
    codeHash: row.code_hash,
    codeUntil: row.code_until,
    disabledAt: row.disabled_at,
    createdAt: row.created_at,
  }
  if (stands === undefined || stands === standing(person)) return person
  if (instead) return { ...person, ...instead() }
  throw new BrokenSeal(bondOf('person', [row.id]))
}

const loginPrint = (vault: Vault, login: string) => vault.fingerprint(`login ${login}`)
const subjectPrint = (vault: Vault, subject: string) => vault.fingerprint(`subject ${subject}`)

export function personRecords(db: AccessDb, vault: Vault): PersonRecords {
  const all = () => db.selectFrom('person').selectAll()
  const one = async (query: { executeTakeFirst(): Promise<PersonTable | undefined> }) => {
    const row = await query.executeTakeFirst()
    try {
      return row && toPerson(row, vault)
    } catch (error) {
      // Nobody signs in by a record that was altered.
      if (error instanceof BrokenSeal) return undefined
      throw error
    }
  }
  return {
    get: (id) => one(all().where('id', '=', id)),
    lock: (id) => one(all().where('id', '=', id).forUpdate()),
    byLogin: (login) => one(all().where('login_print', '=', loginPrint(vault, login))),
    bySubject: (subject) => one(all().where('subject_print', '=', subjectPrint(vault, subject))),
    byCode: (codeHash) => one(all().where('code_hash', '=', codeHash).forUpdate()),
    list: async () => (await all().orderBy('id').execute()).map((row) => toPerson(row, vault, unreadable)),
    insert: async (person) => {
      await db.insertInto('person').values(toRow(person, vault)).execute()
    },
    update: async (person) => {
      const { id, ...changes } = toRow(person, vault)
      await db.updateTable('person').set(changes).where('id', '=', id).execute()
    },
  }
}
