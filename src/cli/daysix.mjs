#!/usr/bin/env node
import { runCompiled } from './compiled.mjs'

await runCompiled('daysix', ['src', 'infra/build'])
