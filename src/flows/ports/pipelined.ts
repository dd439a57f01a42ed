declare const pipelined: unique symbol
/**
 * A write that is on its way when the call returns. Within a transaction its answer may be left alone (`void`), so that
 * it costs no round trip: the transaction waits for it before it commits, and fails with its error.
 */
export type Pipelined = Promise<void> & { readonly [pipelined]: true }
