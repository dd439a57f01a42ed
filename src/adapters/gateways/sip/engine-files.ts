import { writeFile } from 'node:fs/promises'
import { join } from 'node:path'
import type { ControlPoint } from './control.ts'
import { familyOf, hostOf, type SipConfig } from './sip-config.ts'

export interface EngineSettings {
  config: SipConfig
  password: string | undefined
  /** Certificates of the trunk's authority, where it is not one of those known to all. */
  authority: string | undefined
  rtp: { from: number; to: number }
  control: ControlPoint
  /** Where its requests for a call go, wherever the number is. */
  firstHop: string
  /** Played until something is to be said: sound would otherwise begin before the call is answered (183). */
  silence: string
}

const MODULES = '/usr/lib/baresip/modules'

/** Writes what the engine reads at its start. Nothing that records sound (`sndfile`) is loaded. */
export async function writeEngineFiles(folder: string, settings: EngineSettings): Promise<void> {
  const secret = { mode: 0o600 }
  await writeFile(join(folder, 'config'), configOf(settings), secret)
  await writeFile(join(folder, 'accounts'), accountOf(settings), secret)
  // Without one it would write examples.
  await writeFile(join(folder, 'contacts'), '', secret)
}

function configOf({ config, rtp, control, silence }: EngineSettings): string {
  const { localAddress, media } = config
  const lines = [
    'poll_method epoll',
    // Signalling goes through `Gate`, on this machine only; sound goes by itself.
    `sip_listen ${familyOf(config) === 6 ? '[::1]' : '127.0.0.1'}:0`,
    `net_interface ${localAddress}`,
    'call_max_calls 1',
    'audio_buffer 20-1000',
    'audio_player alsa,ear', // see `Ear`
    `audio_source aufile,${silence}`,
    'audio_alert none,none',
    'ausrc_srate 8000',
    'auplay_srate 8000',
    'ausrc_channels 1',
    'auplay_channels 1',
    'audio_txmode poll',
    'ausrc_format s16',
    'auplay_format s16',
    'auenc_format s16',
    'audec_format s16',
    `rtp_ports ${rtp.from}-${rtp.to}`,
    // A jitter buffer loses the first and last of several digits.
    'jitter_buffer_delay 0-0',
    'rtp_timeout 60',
    `module_path ${MODULES}`,
    'module g711.so',
    'module aufile.so',
    ...(media === 'srtp' ? ['module srtp.so'] : []),
    'module alsa.so',
    'module_tmp account.so',
    'module_app menu.so',
    'module_app mqtt.so',
    'mqtt_broker_host 127.0.0.1',
    `mqtt_broker_port ${control.port}`,
    'mqtt_broker_user engine',
    `mqtt_broker_password ${control.password}`,
    'mqtt_basetopic engine',
    'ringback_disabled yes',
    'menu_bell no',
    'statmode_default off',
  ]
  return `${lines.join('\n')}\n`
}

/**
 * A transferred call would let the called party place calls at our cost. Against redirected ones there is no setting:
 * see
 * `Gate`.
 */
function accountOf({ config, password, firstHop }: EngineSettings): string {
  const { user, domain, localAddress, auth, media } = config
  const credentials = auth ? `;auth_user=${auth.user};auth_pass=${password}` : ''
  const ways = `regint=0;audio_codecs=PCMU/8000/1,PCMA/8000/1;call_transfer=no;outbound="${firstHop}"`
  const sound = media === 'srtp' ? ';mediaenc=srtp-mand' : ''
  return `<sip:${user}@${domain ?? hostOf(localAddress)}>;${ways}${sound}${credentials}\n`
}
