#!/usr/bin/env node
// The command runs the TypeScript sources directly, so that `npm ci` is the only build step there is.
import { register } from 'tsx/esm/api'

register()
await import('./daysix.ts')
