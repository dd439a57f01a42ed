import { spawn, type ChildProcess } from 'node:child_process'
import { once } from 'node:events'
import { setTimeout as pause } from 'node:timers/promises'
import { Control, type EngineEvent } from './control.ts'
import { Ear } from './ear.ts'
import { writeEngineFiles, type EngineSettings } from './engine-files.ts'
import { Gate } from './gate.ts'
import { familyOf } from './sip-config.ts'

/** What happens on a line, in order. */
export type LineEvent =
  | { kind: 'ringing' }
  | { kind: 'answered' }
  | { kind: 'digit'; digit: string }
  | { kind: 'sound'; frames: Int16Array[] }
  | { kind: 'closed'; cause: string }

/** The engine is not installed: an operator must act. */
export class EngineMissing extends Error {}

/** What a call has besides its engine. */
interface Ways {
  gate: Gate
  control: Control
  ear: Ear
}

const READY_MS = 5_000
const GRACE_MS = 2_000
/** The engine ends by itself after this long, should we have forgotten it. */
const MOST_SECONDS = 400

/**
 * One call by one process of Debian's baresip, which dies with us: it says good-bye to the other side when this process
 * is killed. The engine's own menu speaks to all calls of a process alike, so calls do not share one.
 */
export class Line {
  readonly #child: ChildProcess
  readonly #control: Control
  readonly #gate: Gate
  readonly #ear: Ear
  readonly #exited: Promise<unknown>
  readonly #events: LineEvent[] = []
  #wake: () => void = () => {}
  #open = false
  #gone = false

  private constructor(child: ChildProcess, { gate, control, ear }: Ways) {
    this.#child = child
    this.#gate = gate
    this.#control = control
    this.#ear = ear
    const end = () => this.#end('engine-gone')
    this.#exited = once(child, 'exit').then(end, end)
  }

  /**
   * Starts an engine in a folder of its own.
   *
   * @throws EngineMissing, or an Error when it does not come up.
   */
  static async open(folder: string, settings: Omit<EngineSettings, 'control' | 'firstHop'>): Promise<Line> {
    const gate = await Gate.open({ ...settings.config, authority: settings.authority })
    const control = await Control.open()
    let ear: Ear | undefined
    try {
      ear = await Ear.open(folder)
      return await Line.#start(folder, settings, { gate, control, ear })
    } catch (error) {
      gate.close()
      control.close()
      await ear?.close()
      throw error
    }
  }

  static async #start(
    folder: string,
    settings: Omit<EngineSettings, 'control' | 'firstHop'>,
    ways: Ways,
  ): Promise<Line> {
    const { gate, control } = ways
    await writeEngineFiles(folder, { ...settings, control: control.point, firstHop: gate.uri })
    const engine = ['baresip', `-${familyOf(settings.config)}`, '-f', folder, '-t', String(MOST_SECONDS)]
    const env = { PATH: '/usr/bin:/bin', HOME: folder, ALSA_CONFIG_PATH: Ear.settings(folder) }
    const child = spawn('setpriv', ['--no-new-privs', '--pdeathsig', 'TERM', '--', ...engine], { stdio: 'ignore', env })
    const line = new Line(child, ways)
    // 127: setpriv found no such program.
    const missing = once(child, 'exit').then(() => (child.exitCode === 127 ? 'missing' : 'down'))
    const failed = missing.catch(() => 'missing' as const)
    const late = new AbortController()
    const patience = pause(READY_MS, 'down' as const, { signal: late.signal }).catch(() => 'down' as const)
    const came = control.ready((event) => line.#hear(event)).then(() => 'ready' as const)
    const state = await Promise.race([came, failed, patience])
    late.abort()
    if (state === 'ready') return line
    child.kill('SIGKILL')
    throw state === 'missing' ? new EngineMissing('baresip') : new Error('the engine did not come up')
  }

  /** @param uri made of checked parts only: the engine would take a space or a line end for more. */
  dial(uri: string): Promise<boolean> {
    this.#open = true
    this.#gate.allow(uri, (cause) => this.#add({ kind: 'closed', cause }))
    return this.#control.command('dial', uri)
  }

  /** Says the file from its beginning, instead of whatever is being said. */
  play(file: string): Promise<boolean> {
    return this.#control.command('ausrc', `aufile,${file}`)
  }

  /** A person is there: what else is said does not matter. */
  deafen(): void {
    this.#ear.deafen()
  }

  /** The next thing that happens; undefined after `ms`. After `closed` nothing happens any more. */
  async next(ms: number): Promise<LineEvent | undefined> {
    if (this.#events.length === 0 && ms > 0) await this.#sleep(ms)
    return this.#events.shift()
  }

  /** Ends the call, then the engine: by its own command, or else harder. */
  async close(): Promise<void> {
    this.#ear.letGo()
    if (this.#open) await this.#control.command('hangup')
    for (const until = performance.now() + GRACE_MS; this.#open && performance.now() < until;) await pause(20)
    if (!this.#gone) await this.#control.command('quit')
    for (const signal of ['SIGTERM', 'SIGKILL'] as const) {
      if (await this.#exits()) break
      this.#child.kill(signal)
    }
    await this.#exited
    this.#control.close()
    this.#gate.close()
    await this.#ear.close()
  }

  /** Process of the engine. */
  get pid(): number | undefined {
    return this.#child.pid
  }

  async #exits(): Promise<boolean> {
    const patience = new AbortController()
    const late = pause(GRACE_MS, false, { signal: patience.signal }).catch(() => false)
    const gone = await Promise.race([this.#exited.then(() => true), late])
    patience.abort()
    return gone
  }

  #sleep(ms: number): Promise<void> {
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, ms)
      this.#wake = () => {
        clearTimeout(timer)
        resolve()
      }
    })
  }

  #hear({ type, direction, param = '' }: EngineEvent): void {
    if (direction === 'incoming') return
    if (type === 'CALL_RINGING' || type === 'CALL_PROGRESS') this.#add({ kind: 'ringing' })
    if (type === 'CALL_ESTABLISHED') this.#answered()
    // Only the beginning of a key counts; its end may be lost.
    if (type === 'CALL_DTMF_START') this.#add({ kind: 'digit', digit: param })
    if (type === 'CALL_CLOSED') this.#close(this.#gate.redirect ?? param)
  }

  #answered(): void {
    this.#add({ kind: 'answered' })
    this.#ear.listen((frames) => this.#add({ kind: 'sound', frames }))
  }

  #end(cause: string): void {
    this.#gone = true
    this.#close(cause)
  }

  #close(cause: string): void {
    if (!this.#open) return
    this.#open = false
    this.#add({ kind: 'closed', cause })
  }

  #add(event: LineEvent): void {
    this.#events.push(event)
    this.#wake()
  }
}
