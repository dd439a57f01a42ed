export { sameSecret } from '../access/same-secret.ts'
