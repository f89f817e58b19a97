#!/usr/bin/env perl
# A second reader of the controller file, written from
# calib-cli/schema/CONTROLLER-FILE.md alone, by someone who had not seen the
# program's code; a test runs it. (Where the page's rule for the longest time on
# changed afterwards, the two lines of it here were changed with it.)
#
#     perl second_reader.pl FILE < queries > answers
#
# FILE is a PROBE.controller.json or a PROBE.table.csv. If any check fails it
# says `refused: REASON` on standard error and ends with 1. Otherwise it
# answers queries, one a line, with one line each:
#
#     read CODE TEMPERATURE        ANSWER UNCERTAINTY, or FAULT -
#     start TIME                   off
#     step TIME CODE TEMPERATURE   ANSWER on, or ANSWER off
#
# TEMPERATURE is in hundredths of a degree, or `none`. A line that is none of
# these, or a step before any start, is answered by `bad query`.
use strict;
use warnings;
use integer;    # all arithmetic below is on whole numbers; / truncates, >> keeps the sign
use Config;
use Digest::SHA qw(sha256_hex);
use JSON::PP ();

die "needs a perl with 64-bit integers\n" if $Config{ivsize} < 8;

sub refuse {
    my ($reason) = @_;
    print STDERR "refused: $reason\n";
    exit 1;
}

# ---- whole-number helpers ---------------------------------------------------

# To the nearest whole number, halves away from zero; d > 0.
sub divide {
    my ($n, $d) = @_;
    return $n >= 0 ? ($n + $d / 2) / $d : -((-$n + $d / 2) / $d);
}

sub floor_16 { return $_[0] >> 4 }
sub ceil_16  { return -(-$_[0] >> 4) }

my @crc_table = map {
    my $r = $_;
    $r = $r & 1 ? ($r >> 1) ^ 0xEDB88320 : $r >> 1 for 1 .. 8;
    $r;
} 0 .. 255;

sub crc32_hex {
    my $r = 0xFFFFFFFF;
    $r = ($r >> 8) ^ $crc_table[($r ^ $_) & 0xFF] for unpack 'C*', $_[0];
    return sprintf '%08x', $r ^ 0xFFFFFFFF;
}

# ---- from bytes to rows -----------------------------------------------------
# Both formats become the same list of rows [key, index, value, kind]: the key
# joined by dots, the number of the knot or '', and the kind of value: `number`,
# `text` or `null` in JSON, `cell` in CSV, where a value does not tell.

# Checks both digests over the bytes of the file. No digest covers the bytes
# from the line of `crc32` on, so the end must be exactly as it is written.
sub check_digests {
    my ($bytes, $is_json) = @_;
    my $end = $is_json
        ? qr/^(  "sha256": "([0-9a-f]{64})",\n)  "crc32": "([0-9a-f]{8})"\n\}\n\z/m
        : qr/^(sha256,,([0-9a-f]{64})\n)crc32,,([0-9a-f]{8})\n\z/m;
    $bytes =~ $end or refuse('the file does not end with its two digests');
    my ($before, $line, $sha256, $crc32) = (substr($bytes, 0, $-[0]), $1, $2, $3);
    crc32_hex($before . $line) eq $crc32 or refuse('crc32 of the file differs');
    sha256_hex($before) eq $sha256       or refuse('sha256 of the file differs');
    return;
}

sub rows_of_csv {
    my ($bytes) = @_;
    my $field = qr/"(?:[^"\n]|"")*"|[^",\n]*/;
    my @rows;
    for my $line (split /\n/, $bytes) {
        my @cells = $line =~ /\A($field),($field),($field)\z/
            or refuse('a CSV row has not three fields');
        for (@cells) { s/""/"/g if s/\A"(.*)"\z/$1/s }
        push @rows, [@cells, 'cell'];
    }
    my $header = shift @rows;
    "@$header" eq 'key index value cell' or refuse('CSV header');
    return @rows;
}

# JSON::PP would keep neither the order of keys nor doubled ones, nor tell 2
# from 2.0 or "2"; so it decodes single strings only.
sub rows_of_json {
    my ($bytes) = @_;
    my @rows;
    my $space = qr/[ \t\n\r]*/;
    my $accept = sub { return $bytes =~ /\G$space\Q$_[0]\E/gc };
    my $string = sub {
        $bytes =~ /\G$space("(?:[^"\\]|\\.)*")/gcs or return;
        my $text = eval { JSON::PP->new->utf8->allow_nonref->decode($1) };
        defined $text or refuse('a JSON string is malformed');
        utf8::encode($text);
        return $text;
    };
    my $value;
    $value = sub {
        my ($key, $index, $depth) = @_;
        $depth <= 3 or refuse('JSON is nested too deep');
        if ($accept->('{')) {
            my %seen;
            do {
                my $name = $string->();
                defined $name && $name =~ /\A[a-z0-9_]+\z/ or refuse("a JSON key in `$key`");
                $seen{$name}++ and refuse("JSON key `$name` twice");
                $accept->(':') or refuse("no colon after JSON key `$name`");
                $value->($key eq '' ? $name : "$key.$name", $index, $depth + 1);
            } while ($accept->(','));
            $accept->('}') or refuse("JSON object `$key` does not end");
        } elsif ($accept->('[')) {
            $index eq '' or refuse('a JSON array in an array');
            my $n = 0;
            do { $value->($key, $n++, $depth + 1) } while ($accept->(','));
            $accept->(']') or refuse("JSON array `$key` does not end");
        } elsif ($accept->('null')) {
            push @rows, [$key, $index, '', 'null'];
        } elsif ($bytes =~ /\G$space(-?[0-9][0-9.eE+-]*)/gc) {
            push @rows, [$key, $index, $1, 'number'];
        } else {
            my $text = $string->();
            defined $text or refuse("JSON value of `$key`");
            push @rows, [$key, $index, $text, 'text'];
        }
    };
    pos($bytes) = 0;
    $bytes =~ /\A\{/ or refuse('not a JSON object');
    $value->('', '', 0);
    $bytes =~ /\G$space\z/gc or refuse('something follows the JSON object');
    return @rows;
}

# ---- from rows to numbers ---------------------------------------------------

# Well-formed UTF-8 (RFC 3629) without U+0000-001F and U+007F-009F.
my $utf8 = qr/(?: [\x20-\x7E] | \xC2[\xA0-\xBF] | [\xC3-\xDF][\x80-\xBF]
    | \xE0[\xA0-\xBF][\x80-\xBF] | [\xE1-\xEC\xEE\xEF][\x80-\xBF]{2} | \xED[\x80-\x9F][\x80-\xBF]
    | \xF0[\x90-\xBF][\x80-\xBF]{2} | [\xF1-\xF3][\x80-\xBF]{3} | \xF4[\x80-\x8F][\x80-\xBF]{2} )*/x;
my $name  = qr/(?=.{1,64}\z)$utf8/s;
my $date  = qr/[0-9]{4}-[0-9]{2}-[0-9]{2}/;
my @count = (0, 65535);
my @theta_v = (-2000, 12000);
my @centi = (-4000, 8500);

# Takes the rows in the order of the schema; a missing, doubled, unknown or
# misplaced key is refused. Gives a hash of key => value, of knots key => list.
sub table_of_rows {
    my ($is_json, @rows) = @_;
    my $warm  = grep { $_->[0] =~ /\Atemperature\./ } @rows;
    my $knots = grep { $_->[0] eq 'knots.count' } @rows;
    $knots >= 2 && $knots <= 255 or refuse('there are not 2 to 255 knots');
    my @fields = (    # key, pattern of a text; or key, lowest, highest number, index
        [format => qr/ovendry controller table/], [version => 2, 2],
        [probe => $name], [soil => $name], [calibrated_on => $date], [recheck_by => $date],
        [adc_bits => 8, 16], [direction => qr/rises-when-wetter|falls-when-wetter/],
        ['live_codes.low', @count], ['live_codes.high', @count],
        ['live_codes.open_circuit', qr/reads-low|reads-high/],
        ['domain_sixteenths.low', 0, 1048560], ['domain_sixteenths.high', 0, 1048560],
        $warm ? (
            ['temperature.reference_centi', @centi],
            ['temperature.lowest_centi', @centi], ['temperature.highest_centi', @centi],
            ['temperature.coefficient', -2147483648, 2147483647], ['temperature.divisor', 1, 65536],
        ) : $is_json ? ['temperature'] : (),
        [max_error_e4 => 1, 10000],
        (map { (
            ['knots.count', @count, $_], ['knots.theta_v_e4', @theta_v, $_],
            ['knots.expanded_uncertainty_e4', 0, 10000, $_],
        ) } 0 .. $knots - 1),
        ['set_points.refill_theta_v_e4', @theta_v], ['set_points.stop_theta_v_e4', @theta_v],
        ['set_points.refill_count', @count], ['set_points.stop_count', @count],
        ['pump.minimum_on_s', 0, 604800], ['pump.minimum_off_s', 0, 604800],
        ['pump.maximum_on_s', 1, 604800], ['pump.stuck_after_s', 0, 604800],
        [table_crc32 => qr/[0-9a-f]{8}/], [sha256 => qr/[0-9a-f]{64}/], [crc32 => qr/[0-9a-f]{8}/],
    );
    my %t = (has_temperature => $warm);
    for my $field (@fields) {
        my ($key, $lowest, $highest, $index) = @$field;
        my $kind = defined $highest ? 'number' : defined $lowest ? 'text' : 'null';
        my $row = shift @rows;
        $row && $row->[0] eq $key && $row->[1] eq ($index // '')
            or refuse("`$key` is not where it should be");
        $row->[3] eq $kind || $row->[3] eq 'cell' or refuse("`$key` is no $kind");
        my $value = $row->[2];
        if ($kind eq 'text') {
            $value =~ /\A(?:$lowest)\z/ or refuse("`$key` is not as it should be");
        } elsif ($kind eq 'number') {
            $value =~ /\A(?:0|-?[1-9][0-9]{0,9})\z/ && $value >= $lowest && $value <= $highest
                or refuse("`$key` is no whole number from $lowest to $highest");
            $value += 0;
        }
        if (defined $index) { $t{$key}[$index] = $value } else { $t{$key} = $value }
    }
    @rows and refuse('something follows `crc32`');
    $t{$_} = day_number($t{$_}, $_) for qw(calibrated_on recheck_by);
    $t{full_scale} = (1 << $t{adc_bits}) - 1;
    return \%t;
}

sub day_number {    # YYYY-MM-DD to the number YYYYMMDD
    my ($y, $m, $d) = split /-/, $_[0];
    my $leap = $y % 4 == 0 && ($y % 100 != 0 || $y % 400 == 0);
    my @days = (0, 31, $leap ? 29 : 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31);
    $m >= 1 && $m <= 12 && $d >= 1 && $d <= $days[$m]
        or refuse("`$_[1]` is no day of the calendar");
    return $y * 10000 + $m * 100 + $d;
}

# The image without its own CRC-32. The ranges are checked already.
sub image {
    my ($t) = @_;
    my @counts = @{ $t->{'knots.count'} };
    my $warm = $t->{has_temperature};
    my $flags = ($t->{direction} eq 'falls-when-wetter' ? 1 : 0) + ($warm ? 2 : 0)
        + ($t->{'live_codes.open_circuit'} eq 'reads-high' ? 4 : 0);
    my %power = (1 => 0, 256 => 8, 65536 => 16);
    return pack('C4 S<3', 2, $flags, $warm ? $power{ $t->{'temperature.divisor'} } : 0,
            scalar @counts, @$t{qw(full_scale live_codes.low live_codes.high)})
        . pack('s<3 l<', map { $warm ? $t->{"temperature.$_"} : 0 }
            qw(reference_centi lowest_centi highest_centi coefficient))
        . pack('l<2 s<2 S<3', @$t{qw(domain_sixteenths.low domain_sixteenths.high
            set_points.refill_theta_v_e4 set_points.stop_theta_v_e4
            set_points.refill_count set_points.stop_count max_error_e4)})
        . pack('L<6', @$t{qw(pump.minimum_on_s pump.minimum_off_s pump.maximum_on_s
            pump.stuck_after_s calibrated_on recheck_by)})
        . pack('S<*', @counts) . pack('s<*', @{ $t->{'knots.theta_v_e4'} })
        . pack('S<*', @{ $t->{'knots.expanded_uncertainty_e4'} });
}

# ---- the numbers in use, set once by `load` ---------------------------------

my $t;                                        # every key
my (@sixteenths, @theta, @uncertainty);       # of the knots
my ($full_scale, $live_low, $live_high, $open_low, $domain_low, $domain_high);
my ($warm, $reference, $lowest, $highest, $coefficient, $divisor);

# Theta_v and its uncertainty at a corrected count inside the domain.
sub look_up {
    my ($s) = @_;
    my ($below, $j) = (0, $#sixteenths);    # the answer is in below+1 .. j
    while ($j - $below > 1) {
        my $middle = ($below + $j) / 2;
        if ($s <= $sixteenths[$middle]) { $j = $middle } else { $below = $middle }
    }
    my $i = $j - 1;
    return ($theta[$i] + divide(($theta[$j] - $theta[$i]) * ($s - $sixteenths[$i]),
            $sixteenths[$j] - $sixteenths[$i]),
        $uncertainty[$i] > $uncertainty[$j] ? $uncertainty[$i] : $uncertainty[$j]);
}

sub correction { return divide($coefficient * ($_[0] - $reference), $divisor) }

# A code and a temperature, or undef, to theta_v and uncertainty or a fault alone.
sub convert {
    my ($code, $temperature) = @_;
    return -30001 if $code < 0 || $code > $full_scale;
    return $open_low ? -30002 : -30003 if $code < $live_low;
    return $open_low ? -30003 : -30002 if $code > $live_high;
    my $s = 16 * $code;
    if ($warm) {
        return -30005 if !defined $temperature;
        return -30006 if $temperature < $lowest || $temperature > $highest;
        $s -= correction($temperature);
    }
    return -30007 if $s < $domain_low;
    return -30008 if $s > $domain_high;
    return look_up($s);
}

sub load {
    my ($path) = @_;
    open my $in, '<:raw', $path or refuse("cannot open $path: $!");
    my $bytes = do { local $/; <$in> };
    defined $bytes && close $in or refuse("cannot read $path: $!");
    my $is_json = $bytes =~ /\A\{/;
    check_digests($bytes, $is_json);
    $t = table_of_rows($is_json, $is_json ? rows_of_json($bytes) : rows_of_csv($bytes));
    ($full_scale, $live_low, $live_high, $domain_low, $domain_high) = @$t{qw(full_scale
        live_codes.low live_codes.high domain_sixteenths.low domain_sixteenths.high)};
    $open_low = $t->{'live_codes.open_circuit'} eq 'reads-low';
    $warm = $t->{has_temperature};
    ($reference, $lowest, $highest, $coefficient, $divisor) = map { $t->{"temperature.$_"} }
        qw(reference_centi lowest_centi highest_centi coefficient divisor);
    @sixteenths  = map { 16 * $_ } @{ $t->{'knots.count'} };
    @theta       = @{ $t->{'knots.theta_v_e4'} };
    @uncertainty = @{ $t->{'knots.expanded_uncertainty_e4'} };
    check_numbers();
    crc32_hex(image($t)) eq $t->{table_crc32} or refuse('table_crc32 differs');
    return;
}

# What the ranges of the schema leave open. The numbers are those of the list
# "What a reader checks before use".
sub check_numbers {
    my $rises = $t->{direction} eq 'rises-when-wetter' ? 1 : -1;
    # 5. knots
    for my $j (1 .. $#sixteenths) {
        my $step = $sixteenths[$j] - $sixteenths[ $j - 1 ];
        $step > 0 && $step <= 16 * 4095 or refuse('counts of the knots do not rise by 1 to 4095');
        $rises * ($theta[$j] - $theta[ $j - 1 ]) >= 0 or refuse('theta_v goes against `direction`');
    }
    $theta[0] != $theta[-1] or refuse('theta_v does not change');
    # 6. domain
    $sixteenths[0] <= $domain_low && $domain_low < $domain_high && $domain_high <= $sixteenths[-1]
        && $domain_low - $sixteenths[0] <= 15 && $sixteenths[-1] - $domain_high <= 15
        or refuse('the domain does not fit the knots');
    # 7. temperature
    my ($k, $K) = (0, 0);
    if ($warm) {
        $divisor =~ /\A(?:1|256|65536)\z/ or refuse('`temperature.divisor` is not 1, 256 or 65536');
        $lowest < $highest or refuse('temperatures are out of order');
        for ($lowest, $highest) {
            abs($coefficient * ($_ - $reference)) + $divisor / 2 <= 0x7FFFFFFF
                or refuse('the temperature correction overflows 32 bits');
            abs(correction($_)) <= 16 * $full_scale
                or refuse('the temperature correction is larger than the full scale');
        }
        ($k, $K) = sort { $a <=> $b } map { correction($_) } $lowest, $highest;
    }
    # 8. live codes
    $live_low <= $live_high && $live_high <= $full_scale or refuse('live codes are out of order');
    $live_low == 0 || $live_low <= ceil_16($domain_low + $k)
        or refuse('`live_codes.low` cuts off codes with an answer');
    $live_high == $full_scale || $live_high >= floor_16($domain_high + $K)
        or refuse('`live_codes.high` cuts off codes with an answer');
    # 9. set points
    $t->{'set_points.refill_theta_v_e4'} < $t->{'set_points.stop_theta_v_e4'}
        or refuse('refill is not below stop');
    $rises * ($t->{'set_points.stop_count'} - $t->{'set_points.refill_count'}) > 0
        or refuse('the counts of the set points are out of order');
    my $slack = $t->{max_error_e4} + 1;
    for my $point (qw(refill stop)) {
        my ($s, $theta_v) = (16 * $t->{"set_points.${point}_count"},
            $t->{"set_points.${point}_theta_v_e4"});
        $s >= $domain_low && $s <= $domain_high or refuse("the $point count is outside the domain");
        my ($one) = look_up($s - 16 < $domain_low  ? $domain_low  : $s - 16);
        my ($two) = look_up($s + 16 > $domain_high ? $domain_high : $s + 16);
        ($one, $two) = ($two, $one) if $one > $two;
        $one - $slack <= $theta_v && $theta_v <= $two + $slack
            or refuse("the $point count and its theta_v do not agree");
    }
    # 10. times, 11. dates
    $t->{'pump.minimum_on_s'} <= $t->{'pump.maximum_on_s'} or refuse('minimum_on_s is above maximum_on_s');
    $t->{calibrated_on} >= 19700101 or refuse('`calibrated_on` is before 1970');
    $t->{calibrated_on} <= $t->{recheck_by} or refuse('`calibrated_on` is after `recheck_by`');
    return;
}

# ---- the pump ---------------------------------------------------------------

my $fault = -30001;                           # this and below are faults
my ($on, $since, $now, $latest, $changed);    # $now is undef before power-up

sub start {
    ($on, $since, $now, $latest, $changed) = (0, $_[0], $_[0], undef, undef);
    return;
}

sub step {
    my ($time, $code, $temperature) = @_;
    my $set_back = $time < $now;
    $now = $time;
    $changed = $now if !defined $latest || $code != $latest || $set_back;
    $latest = $code;
    my $stuck_after = $t->{'pump.stuck_after_s'};
    my $stuck = $stuck_after != 0 && $now - $changed >= $stuck_after;

    my ($answer) = convert($code, $temperature);
    $answer = -30004 if $stuck && !($answer <= -30001 && $answer >= -30003);
    if ($on) {
        my $longest = $t->{'pump.maximum_on_s'};
        if ($set_back) {
            ($on, $since) = (0, $now);
        } elsif ($now - $since >= $longest) {
            ($on, $since) = (0, $now);
        } elsif ($answer <= $fault || $answer >= $t->{'set_points.stop_theta_v_e4'}
            && $now - $since >= $t->{'pump.minimum_on_s'}) {
            ($on, $since) = (0, $now);
        }
    } elsif ($set_back) {
        $since = $now;
    } else {
        look_while_off($answer);
    }
    return $answer;
}

sub look_while_off {
    my ($answer) = @_;
    ($on, $since) = (1, $now)
        if $answer > $fault && $answer <= $t->{'set_points.refill_theta_v_e4'}
        && $now - $since >= $t->{'pump.minimum_off_s'};
    return;
}

# ---- queries ----------------------------------------------------------------

@ARGV == 1 or refuse('give one file');
load($ARGV[0]);
$| = 1;
my $integer = qr/-?[0-9]{1,18}/;
while (my $line = <STDIN>) {
    if ($line =~ /\A\s*read\s+($integer)\s+($integer|none)\s*\z/) {
        my ($answer, $uncertainty) = convert($1 + 0, $2 eq 'none' ? undef : $2 + 0);
        print $answer, ' ', $uncertainty // '-', "\n";
    } elsif ($line =~ /\A\s*step\s+($integer)\s+($integer)\s+($integer|none)\s*\z/ && defined $now) {
        my $answer = step($1 + 0, $2 + 0, $3 eq 'none' ? undef : $3 + 0);
        print $answer, $on ? " on\n" : " off\n";
    } elsif ($line =~ /\A\s*start\s+($integer)\s*\z/) {
        start($1 + 0);
        print "off\n";
    } else {
        print "bad query\n";
    }
}
