import { execFileSync } from 'node:child_process'
import {
  appendFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  readdirSync,
  rmSync,
  statSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { openEmbedded } from '../../src/adapters/db/embedded.ts'
import { copyImage, foundImage, imagePath } from '../../src/adapters/db/embedded-image.ts'
import { makeImage } from '../../src/adapters/db/make-image.ts'
import { migrate } from '../../src/adapters/db/migrate.ts'
import type { Database } from '../../src/adapters/db/pool.ts'

const MIGRATIONS = new URL('../../src/adapters/db/migrations/', import.meta.url)

let folder: string
let image: string
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'daysix-image-'))
  image = await makeImage()
})
afterAll(() => rmSync(folder, { recursive: true, force: true }))

const migrated = async (database: Database) => {
  await migrate(database)
  return database
}

/** Columns, indexes and migrations of both schemas, and how many rows each table has. */
async function contentOf(database: Database): Promise<unknown> {
  const rows = async (sql: string) => (await database.records.query(sql)).rows
  const ours = "table_schema in ('daysix', 'bullmq')"
  const tables = await rows(
    `select table_schema || '.' || table_name as name from information_schema.tables where ${ours} order by 1`,
  )
  return {
    columns: await rows(
      `select table_name, column_name, data_type, column_default, is_nullable from information_schema.columns where ${ours} order by 1, 2`,
    ),
    indexes: await rows("select indexdef from pg_indexes where schemaname in ('daysix', 'bullmq') order by 1"),
    migrations: await rows('select name from daysix.kysely_migration order by 1'),
    counts: await Promise.all(
      tables.map(async ({ name }) => [
        name,
        (await rows(`select count(*)::int as count from ${String(name)}`))[0]!.count,
      ]),
    ),
  }
}

describe('an embedded database that starts from the image', () => {
  it('has in memory and in a folder exactly what one has that was initialised and migrated', async () => {
    const initialised = await migrated(await openEmbedded(undefined, null))
    const expected = await contentOf(initialised)
    await initialised.close()
    for (const place of [undefined, join(folder, 'data')]) {
      const database = await openEmbedded(place)
      expect(await contentOf(database)).toEqual(expected)
      await database.close()
    }
  })

  it('keeps what is written to it, and leaves the image as it is', async () => {
    const before = readFileSync(image)
    const place = join(folder, 'kept')
    const first = await openEmbedded(place)
    await first.records.query(
      "insert into clinic (id, name, phone, zone, country, settings) values ('h', 'H', '+16135550190', 'America/Toronto', 'CA', '{}')",
    )
    await first.close()
    const again = await openEmbedded(place)
    expect((await again.records.query('select id from clinic')).rows).toEqual([{ id: 'h' }])
    await again.close()
    expect(readFileSync(image).equals(before)).toBe(true)
  })

  it('starts anew where copying was cut short before', async () => {
    const place = join(folder, 'cut-short')
    mkdirSync(join(place, 'postgres.unready'), { recursive: true })
    writeFileSync(join(place, 'postgres.unready', 'PG_VERSION'), '18\n')
    const database = await openEmbedded(place)
    expect((await database.records.query('select count(*)::int as count from clinic')).rows).toEqual([{ count: 0 }])
    await database.close()
    expect(readdirSync(place)).not.toContain('postgres.unready')
  })
})

describe('the image', () => {
  /** Files with their content, and folders with null. */
  function treeOf(top: string): Map<string, string | null> {
    const paths = readdirSync(top, { recursive: true, encoding: 'utf8' }).sort()
    return new Map(
      paths.map((path) => [
        path,
        statSync(join(top, path)).isDirectory() ? null : readFileSync(join(top, path), 'latin1'),
      ]),
    )
  }

  it('is unpacked as tar unpacks it', () => {
    // Source: GNU tar or libarchive's bsdtar, whichever the machine has.
    const [byTar, byUs] = [join(folder, 'by-tar'), join(folder, 'by-us')]
    mkdirSync(byTar)
    execFileSync('tar', ['-xf', image, '-C', byTar], { stdio: 'ignore' })
    copyImage(image, byUs)
    expect(treeOf(byUs).size).toBeGreaterThan(900)
    expect(treeOf(byUs)).toEqual(treeOf(byTar))
  })

  it('is another one for other migrations, so that none that is out of date is found', () => {
    const changed = join(folder, 'migrations')
    cpSync(MIGRATIONS, changed, { recursive: true })
    const as = () => imagePath(pathToFileURL(`${changed}/`))
    expect(as()).toBe(foundImage())
    appendFileSync(join(changed, '0001-first.ts'), '\n')
    expect(as()).not.toBe(foundImage())
    expect(existsSync(as())).toBe(false)
  })
})
