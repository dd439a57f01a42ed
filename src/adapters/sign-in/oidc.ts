import * as client from 'openid-client'
import * as z from 'zod'
import { Failure } from '../../domain/failure.ts'
import type { Vault } from '../vault/vault.ts'

export interface ProviderSettings {
  issuer: string
  clientId: string
  clientSecret: string
  /** The claim that a person's `subject` is compared with. */
  claim: string
  /** Where the provider sends people back to: `https://…/sign-in/elsewhere`. */
  redirectUri: string
  /** Only for a provider on this machine, in tests: TLS is required otherwise. */
  allowHttp?: boolean
}

/** What must come back with the answer; kept sealed in a cookie of the browser that asked. */
const pending = z.object({ state: z.string(), nonce: z.string(), verifier: z.string(), until: z.number() })

/** What the sealed answer in a browser's cookie belongs to. */
const COOKIE = 'sign-in elsewhere'
const PATIENCE_MS = 10 * 60_000

/** Who it is, as the provider says: the subject is its own, and means nothing at another one. */
export interface Vouched {
  issuer: string
  subject: string
}

export interface Provider {
  /** Where to send the browser, and what its cookie must hold meanwhile. */
  begin(now: Date): Promise<{ to: string; cookie: string }>
  /**
   * Checks the answer.
   * @param spend notes that an answer was used; false when it was before
   * @throws unauthorized
   */
  finish(answer: URL, cookie: string, now: Date, spend: (state: string) => Promise<boolean>): Promise<Vouched>
}

/**
 * Sign-in by an OpenID Connect provider: authorization code with PKCE, state and nonce (RFC 9700). The provider is
 * asked for its metadata when first needed, so that its absence stops nobody with a password.
 */
export function createProvider(settings: ProviderSettings, vault: Vault): Provider {
  let discovered: Promise<client.Configuration> | undefined
  const configuration = () => {
    discovered ??= discover(settings).catch((error: unknown) => {
      discovered = undefined
      throw new Failure(
        'unauthorized',
        { message: 'The sign-in provider does not answer. Use your password, or try again.' },
        error,
      )
    })
    return discovered
  }
  return {
    begin: async (now) => begin(await configuration(), settings, vault, now),
    finish: async (answer, cookie, now, spend) => {
      const opened = openCookie(vault, cookie, now)
      const configured = await configuration()
      if (!(await spend(opened.state))) throw refused()
      return finish(configured, settings, opened, answer)
    },
  }
}

function discover({ issuer, clientId, clientSecret, allowHttp }: ProviderSettings): Promise<client.Configuration> {
  // Without the second, openid-client trusts the line to the provider instead of the signature (OIDC Core 3.1.3.7).
  const execute = [...(allowHttp ? [client.allowInsecureRequests] : []), client.enableNonRepudiationChecks]
  return client.discovery(new URL(issuer), clientId, clientSecret, undefined, { execute, timeout: 10 })
}

async function begin(configuration: client.Configuration, { redirectUri }: ProviderSettings, vault: Vault, now: Date) {
  const [state, nonce, verifier] = [client.randomState(), client.randomNonce(), client.randomPKCECodeVerifier()]
  const to = client.buildAuthorizationUrl(configuration, {
    redirect_uri: redirectUri,
    scope: 'openid',
    state,
    nonce,
    code_challenge: await client.calculatePKCECodeChallenge(verifier),
    code_challenge_method: 'S256',
  })
  return {
    to: to.href,
    cookie: vault.seal(JSON.stringify({ state, nonce, verifier, until: now.getTime() + PATIENCE_MS }), COOKIE),
  }
}

const refused = (cause?: unknown) =>
  new Failure(
    'unauthorized',
    { message: 'The provider’s answer does not belong to this browser, or came too late. Sign in again.' },
    cause,
  )

function openCookie(vault: Vault, cookie: string, now: Date): z.infer<typeof pending> {
  let opened: z.infer<typeof pending>
  try {
    opened = pending.parse(JSON.parse(vault.open(cookie, COOKIE)))
  } catch (error) {
    throw refused(error)
  }
  if (opened.until < now.getTime()) throw refused()
  return opened
}

async function finish(
  configuration: client.Configuration,
  { redirectUri, claim }: ProviderSettings,
  { state, nonce, verifier }: z.infer<typeof pending>,
  answer: URL,
): Promise<Vouched> {
  const here = new URL(redirectUri)
  here.search = answer.search
  const tokens = await client
    .authorizationCodeGrant(configuration, here, {
      pkceCodeVerifier: verifier,
      expectedState: state,
      expectedNonce: nonce,
      idTokenExpected: true,
    })
    .catch((error: unknown) => {
      throw refused(error)
    })
  const claims = tokens.claims()
  const subject = claims?.[claim]
  if (!claims || typeof subject !== 'string' || subject === '')
    throw new Failure('unauthorized', { message: 'The provider does not say who you are. Ask an administrator.' })
  return { issuer: claims.iss, subject }
}
