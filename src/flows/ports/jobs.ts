/** Look at this message of this plan, now. Holds no personal data. */
export interface SendJob {
  messageId: string
  /** Null for answers, which belong to no plan. */
  revision: number | null
  attempt: number
  at: Date
  /** Enqueued a second time, because the first was lost: must not be taken for the one that is still on its way. */
  requeued?: boolean
}

/** What is due when. Losing all of it loses nothing: the sweep fills it again from the database. */
export interface JobQueue {
  /** Idempotent: the same job enqueued twice runs once. Throws, and soon, when its store does not answer. */
  enqueue(jobs: readonly SendJob[]): Promise<void>
  /**
   * Sets them within a second, together with others that come meanwhile; nobody waits, and what fails the sweep finds.
   */
  enqueueSoon(jobs: readonly SendJob[]): void
  /** Whether its store answers. */
  ready(): Promise<boolean>
  start(run: (job: SendJob) => Promise<void>): Promise<void>
  /** Runs no more; what runs goes on, and jobs can still be enqueued. */
  pause(): Promise<void>
  /** Leaves the running to other processes for a while, or takes it up again; not once it is paused for good. */
  rest(resting: boolean): Promise<void>
  /** Lets jobs under way finish. */
  stop(): Promise<void>
}
