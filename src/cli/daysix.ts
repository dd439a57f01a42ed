import { Command } from 'commander'

/**
 * The `daysix` command. Each subcommand is loaded only when it is called, so that `daysix forecast`
 * does not pay for the database.
 */
const program = new Command('daysix').description('Times and prepares cervical specimen visits.')

await program.parseAsync()
