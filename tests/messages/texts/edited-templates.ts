import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, expect } from 'vitest'
import { TEMPLATES } from '../../../src/adapters/templates/files.ts'
import { Failure } from '../../../src/domain/failure.ts'

/** A copy of the templates for each test of the block that this is called in, to make mistakes in. */
export function editedTemplates() {
  let folder: string
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'templates-'))
    cpSync(TEMPLATES, folder, { recursive: true })
  })
  afterEach(() => rmSync(folder, { recursive: true }))

  const path = (file = '') => join(folder, file)
  return {
    path,
    edit: (file: string, from: string, to: string): void => {
      const before = readFileSync(path(file), 'utf8')
      expect(before).toContain(from)
      writeFileSync(path(file), before.replace(from, to))
    },
  }
}

/** What loading finds fault with; nothing where it finds none. */
export function faults(load: () => unknown): string[] {
  try {
    load()
  } catch (error) {
    expect(error).toBeInstanceOf(Failure)
    return (error as Failure).detail.faults!.map(({ field, message }) => `${field}: ${message}`)
  }
  return []
}
