import { Failure } from '../failure.ts'
import { MAY, type Actor, type Permission, type Role } from './roles.ts'

/** What somebody wants to give to a person or a program. */
export interface Grant {
  may: readonly Permission[]
  /** Null = every clinic. */
  clinicId: string | null
}

/** What a person of this role gets. */
export function grantOf(role: Role, clinicId: string | null): Grant {
  return { may: MAY[role], clinicId }
}

/**
 * Nobody gives what they have not: otherwise whoever manages people could make a key, or a person, for everything.
 * @throws forbidden
 */
export function refuseMoreThanOwn(maker: Actor, { may, clinicId }: Grant): void {
  const lacking = may.filter((permission) => !maker.may.includes(permission))
  if (lacking.length > 0)
    throw new Failure('forbidden', {
      field: 'may',
      message: `Nobody can give what they may not do themselves: ${lacking.join(', ')}.`,
    })
  if (maker.clinicId !== null && clinicId !== maker.clinicId)
    throw new Failure('forbidden', {
      field: 'clinic',
      message: 'Nobody tied to one clinic can give rights at another.',
    })
}
