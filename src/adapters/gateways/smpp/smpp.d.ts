/**
 * The part of npm `smpp` that is used here: its PDU codec and, in tests and benchmarks, its sessions. It ships no
 * types.
 */
declare module 'smpp' {
  import type { EventEmitter } from 'node:events'
  import type { Server } from 'node:net'

  namespace smpp {
    class PDU {
      constructor(command: string | Buffer, fields?: Record<string, unknown>)
      command: string
      command_id: number
      command_status: number
      sequence_number: number
      isResponse(): boolean
      response(fields?: Record<string, unknown>): PDU
      toBuffer(): Buffer
      /** Turns bytes into texts and dates after reading, and back before writing. */
      _filter(direction: 'encode' | 'decode'): void
      [field: string]: unknown
    }
    interface Session extends EventEmitter {
      send(pdu: PDU, onResponse?: (pdu: PDU) => void): boolean
      bind_transceiver(fields: object, onResponse: (pdu: PDU) => void): boolean
      submit_sm(fields: object, onResponse: (pdu: PDU) => void): boolean
      deliver_sm(fields: object, onResponse?: (pdu: PDU) => void): boolean
      close(done?: () => void): void
      destroy(): void
    }
    function connect(options: { host: string; port: number }): Session
    function createServer(onSession: (session: Session) => void): Server
  }
  export = smpp
}
