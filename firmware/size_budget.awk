# Compares avr-size's sums with a board's memory; fails above the share that may be used.

NR == 2 {
    flash_used = $1 + $2
    ram_used = $2 + $3
}

function line(what, used, size, share,    allowed) {
    allowed = int(size * share / 100)
    printf "%s %s: %d of %d bytes used, %d allowed (%d %%), margin %d\n",
        board, what, used, size, allowed, share, allowed - used
    return used <= allowed
}

END {
    fits = line("flash", flash_used, flash, flash_share)
    fits = line("RAM", ram_used, ram, ram_share) && fits
    if (!fits) print board ": over the size budget"
    exit !fits
}
