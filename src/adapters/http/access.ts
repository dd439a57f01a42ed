export { sameSecret } from '../sign-in/same-secret.ts'
