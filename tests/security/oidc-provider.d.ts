/** The package brings no types; this much of it the tests use. */
declare module 'oidc-provider' {
  import type { RequestListener } from 'node:http'

  class Provider {
    constructor(issuer: string, configuration: object)
    callback(): RequestListener
  }
  export { Provider as default }
}
