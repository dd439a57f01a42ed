/** A process that sends: how long it has been silent, and how far its clock is from the database's, where known. */
export interface WorkerHeard {
  silentSeconds: number
  clockOffsetMs: number | null
}

/** The newest backup that was tried; `outcome` is `done` where it succeeded. */
export interface LastBackup {
  at: Date
  outcome: string
  bytes: number | null
  /** Why it failed. */
  detail?: string | null
}

/** How the service did at one moment. */
export interface Sample {
  at: Date
  overdue: number
  oldestSeconds: number
  /** Of the hour before. */
  sent: number
  /** Of the hour before. */
  notArrived: number
  urgentCalls: number
  workers: number
  /** How long the sweep before it took; null where none had ended. */
  sweepSeconds: number | null
}

/** How the service stands and stood: figures, nothing about anybody. */
export interface StandingRecords {
  /** Those who were heard lately, the longest silent first. */
  workers(): Promise<WorkerHeard[]>
  /** Null where none was recorded. */
  lastBackup(): Promise<LastBackup | null>
  /** Writes how things stand down under that moment; false where somebody has. */
  sample(at: Date, now: Date, sweepSeconds: number | null): Promise<boolean>
  forgetSamples(before: Date): Promise<void>
  /** Oldest first. */
  samples(since: Date): Promise<Sample[]>
}

/** Room for data: of the disk that has `DATA_DIR`, or what the database server keeps. Null: nothing is kept. */
export type DataRoom = { kind: 'disk'; free: number; size: number } | { kind: 'server'; bytes: number } | null

/** This process and where its data lie. */
export interface Home {
  version: string
  /** Since when it runs. */
  since: Date
  room(): Promise<DataRoom>
}
