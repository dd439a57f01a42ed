import { apiRoutes, apiRules } from '../../src/adapters/http/api/api.ts'
import { PAGE_RULES, createRules } from '../../src/adapters/http/access/rules.ts'
import type { Deps } from '../../src/flows/ports/deps.ts'

/** Every rule of the service. Routes need nothing of the service until they are asked. */
export const RULES = [...apiRules(apiRoutes({} as Deps)), ...PAGE_RULES]
export const ruleFor = createRules(RULES)
