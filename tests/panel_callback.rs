//! What the MIDI driver's callback may do, held by the system: this is its own process, because the count of what it
//! asks of the system is one for all.
//!
//! What this shows and what it does not: (1) in the callback the thread enters the kernel for nothing but waking the
//! reader, so that it neither waits for a lock that somebody holds nor sleeps, reads or writes; a filter of the kernel
//! refuses and counts everything else. (2) With the reader stopped at any instant of its reading, the callback goes on:
//! it needs nothing that the reader holds. A lock that nobody ever contends for enters no kernel and would be seen by
//! the second only if the reader takes it too. (3) Nothing is taken from the heap or given back to it.
#![cfg(all(target_os = "linux", target_arch = "x86_64"))]

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use greyhold::panel::{QUEUE, queue, read};

/// Counts what the thread takes from the heap and gives back.
struct Counting;

thread_local! {
    static HEAP_USES: Cell<usize> = const { Cell::new(0) };
}

// SAFETY: everything is handed to the system's allocator as it came.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        HEAP_USES.set(HEAP_USES.get() + 1);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        HEAP_USES.set(HEAP_USES.get() + 1);
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static HEAP: Counting = Counting;

/// Calls into the kernel that the filter refused, and the number of the last.
static REFUSED: AtomicUsize = AtomicUsize::new(0);
static LAST: AtomicI64 = AtomicI64::new(-1);

extern "C" fn refused(_: libc::c_int, info: *mut libc::siginfo_t, context: *mut libc::c_void) {
    let _ = info;
    // SAFETY: the kernel gives a context to handlers that ask for it.
    let registers = unsafe { &mut (*context.cast::<libc::ucontext_t>()).uc_mcontext.gregs };
    LAST.store(registers[libc::REG_RAX as usize], Ordering::Relaxed);
    registers[libc::REG_RAX as usize] = -i64::from(libc::ENOSYS);
    REFUSED.fetch_add(1, Ordering::Relaxed);
}

/// From now on this thread may wake others, take signals and end; everything else is refused and counted.
fn only_waking() {
    let statement = |code: u32, k: u32| libc::sock_filter { code: code as u16, jt: 0, jf: 0, k };
    let unless = |k: u32, skip: u8| libc::sock_filter {
        code: (libc::BPF_JMP | libc::BPF_JEQ | libc::BPF_K) as u16,
        jt: 0,
        jf: skip,
        k,
    };
    let load = |at: u32| statement(libc::BPF_LD | libc::BPF_W | libc::BPF_ABS, at);
    let allow = statement(libc::BPF_RET | libc::BPF_K, libc::SECCOMP_RET_ALLOW);
    let mut program = vec![load(0)];
    // What a thread needs to take a signal and to end.
    for call in [
        libc::SYS_rt_sigreturn,
        libc::SYS_exit,
        libc::SYS_munmap,
        libc::SYS_madvise,
        libc::SYS_sigaltstack,
        libc::SYS_rt_sigprocmask,
    ] {
        program.extend([unless(call as u32, 1), allow]);
    }
    // Its second argument says what a futex call is to do: to wake, never to wait.
    let wake = libc::FUTEX_WAKE | libc::FUTEX_PRIVATE_FLAG;
    program.extend([unless(libc::SYS_futex as u32, 3), load(24), unless(wake as u32, 1), allow]);
    program.push(statement(libc::BPF_RET | libc::BPF_K, libc::SECCOMP_RET_TRAP));
    let program = libc::sock_fprog { len: program.len() as u16, filter: program.as_mut_ptr() };
    // SAFETY: a filter for this thread alone, which outlives the call; the handler only stores numbers.
    unsafe {
        let mut action: libc::sigaction = std::mem::zeroed();
        action.sa_sigaction = refused as *const () as usize;
        action.sa_flags = libc::SA_SIGINFO;
        assert_eq!(libc::sigaction(libc::SIGSYS, &action, std::ptr::null_mut()), 0);
        assert_eq!(libc::prctl(libc::PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0), 0);
        let mode = libc::SECCOMP_MODE_FILTER;
        assert_eq!(libc::prctl(libc::PR_SET_SECCOMP, mode, &program as *const libc::sock_fprog), 0);
    }
}

/// What the reader is stopped by, and whether it is.
static STOP: AtomicBool = AtomicBool::new(false);
static STOPPED: AtomicBool = AtomicBool::new(false);

extern "C" fn stopped(_: libc::c_int) {
    STOPPED.store(true, Ordering::SeqCst);
    while STOP.load(Ordering::SeqCst) {
        std::hint::spin_loop();
    }
    STOPPED.store(false, Ordering::SeqCst);
}

/// Packets as a driver gives them: turns, running status, clock inside, system exclusive, half a message.
const PACKETS: [&[u8]; 4] = [
    &[0xB0, 20, 1],
    &[0xB0, 20, 1, 21, 0xF8, 127, 0x90, 40, 127],
    &[0xF0, 0x7D, 1, 2, 3, 0xF7, 0xB0, 7, 64],
    &[0xE0, 1],
];

#[test]
fn the_callback_wakes_the_reader_and_asks_nothing_else_of_anybody() {
    // First, that the count counts: a lock that is held has to be waited for.
    let lock = Arc::new(Mutex::new(()));
    let held = lock.lock().unwrap();
    let (theirs, waiting) = (lock.clone(), Arc::new(AtomicBool::new(false)));
    let seen = waiting.clone();
    let waiter = std::thread::spawn(move || {
        only_waking();
        seen.store(true, Ordering::SeqCst);
        // Waiting is refused, so that it asks again and again until the lock is free.
        drop(theirs.lock());
    });
    let start = Instant::now();
    while REFUSED.load(Ordering::Relaxed) == 0 && start.elapsed() < Duration::from_secs(10) {
        std::hint::spin_loop();
    }
    drop(held);
    waiter.join().unwrap();
    assert!(waiting.load(Ordering::SeqCst) && REFUSED.load(Ordering::Relaxed) > 0, "the filter sees a wait");
    assert_eq!(LAST.load(Ordering::Relaxed), libc::SYS_futex);
    REFUSED.store(0, Ordering::Relaxed);

    // A reader that sleeps until it is woken, as the engine's thread does.
    let reader = std::thread::current();
    let (mut sender, mut queue) = queue(QUEUE, Box::new(move || reader.unpark()));
    let callback = std::thread::spawn(move || {
        // What a thread makes for itself at first use is made before.
        sender.push(0, PACKETS[0]);
        only_waking();
        let before = HEAP_USES.get();
        // More than the queue holds, so that what does not fit is dropped in here as well.
        for at in 0..4 * QUEUE {
            sender.push(at as u64, PACKETS[at % PACKETS.len()]);
        }
        let uses = HEAP_USES.get() - before;
        std::mem::forget(sender);
        uses
    });
    let mut heard = 0;
    let end = Instant::now() + Duration::from_secs(20);
    while !callback.is_finished() && Instant::now() < end {
        std::thread::park_timeout(Duration::from_millis(5));
        queue.drain(|m| heard += usize::from(read(0, m.bytes()).is_some()));
    }
    assert_eq!(callback.join().unwrap(), 0, "uses of the heap");
    queue.drain(|m| heard += usize::from(read(0, m.bytes()).is_some()));
    assert_eq!(REFUSED.load(Ordering::Relaxed), 0, "call {} was made", LAST.load(Ordering::Relaxed));
    // One, three, one and no message in the four packets.
    assert_eq!(heard as u64 + queue.overruns(), 1 + 5 * QUEUE as u64);
}

#[test]
fn a_reader_that_is_stopped_stops_nobody() {
    // SAFETY: the handler touches atomics only.
    unsafe {
        let mut action: libc::sigaction = std::mem::zeroed();
        action.sa_sigaction = stopped as *const () as usize;
        assert_eq!(libc::sigaction(libc::SIGUSR1, &action, std::ptr::null_mut()), 0);
    }
    let (mut sender, mut queue) = queue(64, Box::new(|| {}));
    let quit = Arc::new(AtomicBool::new(false));
    let (over, (tell, thread)) = (quit.clone(), std::sync::mpsc::channel());
    let reader = std::thread::spawn(move || {
        // SAFETY: it names this very thread.
        tell.send(unsafe { libc::pthread_self() }).unwrap();
        let mut heard = 0u64;
        while !over.load(Ordering::Relaxed) {
            queue.drain(|_| heard += 1);
        }
        queue.drain(|_| heard += 1);
        heard + queue.overruns()
    });
    let reader_id = thread.recv().unwrap();
    let (mut pushed, mut slowest) = (0u64, Duration::ZERO);
    for round in 0..500u64 {
        // At another instant of its reading each time.
        for _ in 0..round * 7 % 50 {
            sender.push(round, PACKETS[0]);
            pushed += 1;
        }
        STOP.store(true, Ordering::SeqCst);
        // SAFETY: the thread is joined below, after this.
        assert_eq!(unsafe { libc::pthread_kill(reader_id, libc::SIGUSR1) }, 0);
        let patience = Instant::now();
        while !STOPPED.load(Ordering::SeqCst) {
            assert!(patience.elapsed() < Duration::from_secs(20), "the reader does not take the signal");
            std::thread::yield_now();
        }
        // More than there is room for. If it needed what the reader holds, this would never come to an end.
        let begun = Instant::now();
        for _ in 0..100 {
            sender.push(round, PACKETS[0]);
            pushed += 1;
        }
        slowest = slowest.max(begun.elapsed());
        STOP.store(false, Ordering::SeqCst);
        while STOPPED.load(Ordering::SeqCst) {
            std::thread::yield_now();
        }
    }
    quit.store(true, Ordering::Relaxed);
    assert_eq!(reader.join().unwrap(), pushed, "each message was heard or counted as dropped");
    println!("a hundred messages beside a stopped reader took at most {slowest:?}");
}
