import { makeImage } from '../../src/adapters/db/make-image.ts'

/** Once for all test files: what every embedded database of theirs starts from. */
export const setup = async (): Promise<void> => void (await makeImage())
