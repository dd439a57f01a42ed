import { chmodSync, lstatSync, readdirSync } from 'node:fs'
import { join } from 'node:path'

const FOLDER = 0o700
const FILE = 0o600
const OTHERS = 0o077

/** Shuts a folder to everybody but its owner. @returns whether others could look into it before */
export function shutFolder(folder: string): boolean {
  const wasOpen = (lstatSync(folder).mode & OTHERS) !== 0
  if (wasOpen) chmodSync(folder, FOLDER)
  return wasOpen
}

/** The same for everything in it: PGlite makes files that all may read and write. */
export function shutTree(folder: string): void {
  shutFolder(folder)
  for (const entry of readdirSync(folder, { withFileTypes: true })) {
    const path = join(folder, entry.name)
    if (entry.isDirectory()) shutTree(path)
    else if (entry.isFile() && (lstatSync(path).mode & OTHERS) !== 0) chmodSync(path, FILE)
  }
}
