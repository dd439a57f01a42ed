#!/usr/bin/perl
# A small message centre on Debian's Net::SMPP, an implementation of SMPP 3.4 that shares nothing with ours.
# What it does with a message depends on the last four digits of its destination; see the table in submit().
# It writes one JSON line for every bind and every message it took, texts decoded by Perl's own Encode.
#
#   PORT=2775 IDS=dec|hex|hexsubmit SECRET=secret perl smsc.pl
use strict; use warnings;
use Net::SMPP; use IO::Select; use IO::Socket::INET; use Encode (); use Encode::GSM0338 (); use JSON::PP (); use Time::HiRes qw(sleep);

$| = 1;
$SIG{CHLD} = 'IGNORE';
$SIG{PIPE} = 'IGNORE';
my $json = JSON::PP->new->canonical->ascii;
my $ids = $ENV{IDS} // 'dec';
my $secret = $ENV{SECRET} // 'secret';

my $server = Net::SMPP->new_listen('127.0.0.1', port => $ENV{PORT} // 2775, smpp_version => 0x34) or die "cannot listen: $!";
say_line({ event => 'listening' });
while (1) {
  my $link = $server->accept or next;
  my $pid = fork;
  if ($pid) { close $link; next }
  serve($link);
  exit 0;
}

sub say_line { syswrite STDOUT, $json->encode($_[0]) . "\n" }

my (%told, %orders, $throttled, $next);

sub serve {
  my $link = shift;
  $next = 0x0A000000 + (($$ & 0xffff) << 8);
  my $control = IO::Socket::INET->new(Proto => 'udp', LocalAddr => '127.0.0.1', LocalPort => 0) or die "no control: $!";
  my $either = IO::Select->new($link, $control);
  while (1) {
    my @ready = $either->can_read;
    controlled($link, $control) if grep { $_ == $control } @ready;
    next unless grep { $_ == $link } @ready;
    my $pdu = $link->read_pdu or return;
    my ($cmd, $seq) = ($pdu->{cmd}, $pdu->{seq});
    if ($cmd == Net::SMPP::CMD_bind_transceiver || $cmd == Net::SMPP::CMD_bind_transmitter || $cmd == Net::SMPP::CMD_bind_receiver) {
      my $ok = $pdu->{password} eq $secret;
      say_line({ event => 'bind', command => $cmd, version => $pdu->{interface_version}, control => $control->sockport, system => $pdu->{system_id}, ok => $ok ? 1 : 0 });
      my $name = { 9 => 'bind_transceiver_resp', 2 => 'bind_transmitter_resp', 1 => 'bind_receiver_resp' }->{$cmd};
      $link->$name(system_id => 'SMSC', seq => $seq, status => $ok ? 0 : 0x0e);
    }
    elsif ($cmd == Net::SMPP::CMD_submit_sm) { return unless submit($link, $pdu) }
    elsif ($cmd == Net::SMPP::CMD_enquire_link) { say_line({ event => 'enquiry' }); $link->enquire_link_resp(seq => $seq, status => 0) }
    elsif ($cmd == Net::SMPP::CMD_unbind) { say_line({ event => 'unbind' }); $link->unbind_resp(seq => $seq, status => 0); return }
    elsif ($cmd == Net::SMPP::CMD_deliver_sm_resp) { answered($link, $pdu) }
    else { say_line({ event => 'other', command => $cmd, status => $pdu->{status}, seq => $seq }) }
  }
}

# What a test asks of this connection, as a datagram of JSON: {"from", "hex", "esm", "dc"} is a reply,
# {"receipt", "to", "stat"} a receipt of the message of that id.
sub controlled {
  my ($link, $control) = @_;
  $control->recv(my $asked, 65_000);
  my $ask = $json->decode($asked);
  my %from = (source_addr_ton => 1, source_addr_npi => 1, destination_addr => '80001');
  return deliver($link, %from, source_addr => $ask->{from}, esm_class => $ask->{esm}, data_coding => $ask->{dc}, short_message => pack('H*', $ask->{hex}))
    if $ask->{hex};
  deliver($link, %from, source_addr => $ask->{to}, esm_class => 4, short_message => "id:$ask->{receipt} sub:001 dlvrd:001 stat:$ask->{stat} err:000");
}

# A text or receipt that was refused for now is told again a little later.
sub answered {
  my ($link, $pdu) = @_;
  my $fields = delete $told{ $pdu->{seq} };
  say_line({ event => 'told', status => $pdu->{status} });
  return unless $fields && $pdu->{status};
  sleep 0.1;
  deliver($link, %$fields);
}

sub deliver {
  my ($link, %fields) = @_;
  my $seq = $link->deliver_sm(%fields, async => 1);
  $told{$seq} = \%fields;
}

sub submit {
  my ($link, $pdu) = @_;
  my $to = $pdu->{destination_addr};
  my ($code) = $to =~ /(\d{4})$/;
  my %refused = ('0111' => 0x0b, '0108' => 0x08, '0114' => 0x14, '0110' => 0x45);
  return refuse($link, $pdu, $refused{$code}) if $refused{$code};
  return refuse($link, $pdu, 0x58) if $code eq '0158' && ($ENV{THROTTLE} // 1e9) > $throttled++;
  return order($link, $pdu) if $code eq '0176';
  return wrong($link, $pdu, $code) if $code =~ /^019[4567]$/;
  my $number = $next++;
  took($pdu, $number);
  return 1 if $code eq '0199';
  return 0 if $code eq '0198';
  receipt($link, $pdu, $number, $code) if $code eq '0191';
  sleep 0.3 if $code eq '0190';
  sleep 1.5 if $code eq '0189';
  my $answers = $code eq '0192' ? 2 : 1;
  $link->submit_sm_resp(message_id => submit_id($number), seq => $pdu->{seq}, status => 0) for 1 .. $answers;
  return 1 if $code =~ /^(019[13]|0189)$/;
  receipt($link, $pdu, $number, $code) for 1 .. $answers;
  return 1;
}

sub refuse { my ($link, $pdu, $status) = @_; $link->submit_sm_resp(message_id => '', seq => $pdu->{seq}, status => $status); 1 }

# A message to 0176 is an order to send a reply: from=…;dc=…;esm=…;hex=…;payload=1;sar=ref,total,n
sub order {
  my ($link, $pdu) = @_;
  $link->submit_sm_resp(message_id => 'order', seq => $pdu->{seq}, status => 0);
  my ($octets_of, $part) = opened($pdu);
  my ($ref, $total, $n) = $part ? @$part : (0, 1, 1);
  $orders{$ref}{$n} = $octets_of;
  return 1 if keys %{ $orders{$ref} } < $total;
  my $parts = delete $orders{$ref};
  my %order = map { split /=/, $_, 2 } split /;/, join '', map { $parts->{$_} } sort { $a <=> $b } keys %$parts;
  my $octets = pack 'H*', $order{hex};
  my %text = $order{payload} ? (short_message => '', message_payload => $octets) : (short_message => $octets);
  if ($order{sar}) {
    my ($ref, $total, $n) = split /,/, $order{sar};
    %text = (%text, sar_msg_ref_num => pack('n', $ref), sar_total_segments => pack('C', $total), sar_segment_seqnum => pack('C', $n));
  }
  deliver($link, source_addr => $order{from}, source_addr_ton => $order{ton} // 1, source_addr_npi => 1, destination_addr => '80001',
    esm_class => $order{esm} // 0, data_coding => $order{dc} // 0, %text);
  1;
}

# Things that no message centre should do.
sub wrong {
  my ($link, $pdu, $code) = @_;
  if ($code eq '0197') { $link->generic_nack(seq => $pdu->{seq}, status => 0x03) }
  if ($code eq '0196') { syswrite $link, pack('NNNN', 16, 0x00000177, 0, 4711); $link->submit_sm_resp(message_id => 'after-unknown', seq => $pdu->{seq}, status => 0) }
  if ($code eq '0195') { syswrite $link, pack('NNNN', 0x7fffffff, 0x80000004, 0, $pdu->{seq}) }
  if ($code eq '0194') { syswrite $link, pack('NNNN', 7, 0x80000004, 0, $pdu->{seq}) }
  1;
}

sub submit_id { my $n = shift; $ids eq 'dec' ? sprintf('%d', $n) : sprintf('%X', $n) }
sub receipt_id { my $n = shift; $ids eq 'hex' ? lc sprintf('%X', $n) : sprintf('%010d', $n) }

sub receipt {
  my ($link, $pdu, $number, $code) = @_;
  return unless $pdu->{registered_delivery} & 1;
  my $delivered = $code ne '0188';
  if ($code eq '0187') {
    return deliver($link, addresses($pdu), esm_class => 4, short_message => '', receipted_message_id => submit_id($number) . "\0", message_state => pack('C', 2));
  }
  my ($stat, $err) = $delivered ? ('DELIVRD', '000') : ('UNDELIV', '011');
  my $text = sprintf 'id:%s sub:001 dlvrd:00%d submit date:2603171200 done date:2603171201 stat:%s err:%s text:%s',
    receipt_id($number), $delivered, $stat, $err, '...';
  deliver($link, addresses($pdu), esm_class => 4, short_message => $text);
}

sub addresses {
  my $pdu = shift;
  return (source_addr => $pdu->{destination_addr}, source_addr_ton => 1, source_addr_npi => 1, destination_addr => $pdu->{source_addr});
}

sub octets { my $pdu = shift; length $pdu->{short_message} ? $pdu->{short_message} : $pdu->{message_payload} // '' }

# The octets of the text alone, and which part of a longer one they are.
sub opened {
  my $pdu = shift;
  my $octets = octets($pdu);
  if ($pdu->{esm_class} & 0x40) {
    my $length = ord $octets;
    return (substr($octets, $length + 1), [ map { ord } split //, substr $octets, 3, $length - 2 ]);
  }
  return ($octets) unless defined $pdu->{sar_msg_ref_num};
  return ($octets, [ unpack('n', $pdu->{sar_msg_ref_num}), unpack('C', $pdu->{sar_total_segments}), unpack('C', $pdu->{sar_segment_seqnum}) ]);
}

sub took {
  my ($pdu, $number) = @_;
  my %line = (event => 'took', id => submit_id($number), to => $pdu->{destination_addr}, from => $pdu->{source_addr});
  $line{$_} = $pdu->{$_} for qw(esm_class data_coding validity_period registered_delivery source_addr_ton source_addr_npi dest_addr_ton dest_addr_npi);
  my ($octets, $part) = opened($pdu);
  $line{part} = $part if $part;
  $line{hex} = unpack 'H*', $octets;
  $line{octets} = length $octets;
  $line{text} = Encode::decode({ 0 => 'gsm0338', 3 => 'iso-8859-1', 8 => 'UTF-16BE' }->{ $pdu->{data_coding} } // 'ascii', $octets);
  say_line(\%line);
}
