// Runs the demo's TypeScript directly, as the daysix command does.
import { register } from 'tsx/esm/api'

register()
await import('./demo.ts')
